// Boundaries on the sample strip: drag them, or choose one with the arrow keys up and down and move it left and right.
const SVG = "http://www.w3.org/2000/svg";
const MM_PER_FOOT = 304.8;
const QUIET_MS = 450;

let moved = null; // { edge, startX, startMm, nowMm, timer }

export function followStrip(frame, send) {
  frame.addEventListener("pointerdown", (event) => {
    const edge = event.target.closest(".edge");
    if (!edge || event.button !== 0) return;
    event.preventDefault();
    edge.focus();
    edge.setPointerCapture(event.pointerId);
    edge.classList.add("dragged");
    moved = { edge, startX: event.clientX, startMm: Number(edge.dataset.atMm), nowMm: Number(edge.dataset.atMm) };
  });
  frame.addEventListener("pointermove", (event) => {
    if (moved?.startX === undefined) return;
    const strip = moved.edge.ownerSVGElement;
    place(moved.startMm + (event.clientX - moved.startX) / Number(strip.dataset.pxPerMm));
  });
  frame.addEventListener("pointerup", () => release(send));
  frame.addEventListener("pointercancel", putBack);
  frame.addEventListener("put-back", putBack);
  frame.addEventListener("keydown", (event) => key(event, send));
}

export function focusEdge(atMm) {
  const edge = document.querySelector(`.edge[data-at-mm="${atMm}"]`);
  if (!edge) return;
  for (const other of document.querySelectorAll('.edge[tabindex="0"]')) other.setAttribute("tabindex", "-1");
  edge.setAttribute("tabindex", "0");
  edge.focus({ preventScroll: true });
}

function key(event, send) {
  const edge = event.target.closest(".edge");
  if (!edge) return;
  const strip = edge.ownerSVGElement;
  const along = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
  if (along) {
    event.preventDefault();
    if (moved?.edge !== edge) moved = { edge, startMm: Number(edge.dataset.atMm), nowMm: Number(edge.dataset.atMm) };
    clearTimeout(moved.timer);
    place(moved.nowMm + along * Number(strip.dataset.snapMm) * (event.shiftKey ? 10 : 1));
    moved.timer = setTimeout(() => release(send), QUIET_MS);
  } else if (event.key === "ArrowUp" || event.key === "ArrowDown") {
    event.preventDefault();
    const edges = [...strip.querySelectorAll(".edge")];
    const next = edges[edges.indexOf(edge) + (event.key === "ArrowDown" ? 1 : -1)];
    if (next) {
      focusEdge(next.dataset.atMm);
      next.scrollIntoView({ block: "nearest", inline: "center" });
    }
  } else if (event.key === "Escape") putBack();
}

function place(wantedMm) {
  const { edge } = moved;
  const strip = edge.ownerSVGElement;
  const snap = Number(strip.dataset.snapMm);
  const [low, high] = [Number(edge.dataset.lowMm), Number(edge.dataset.highMm)];
  let snapped = Math.round(Math.round(wantedMm / snap) * snap);
  if (snapped <= low) snapped = Math.ceil((low + 1) / snap) * snap;
  if (snapped >= high) snapped = Math.floor((high - 1) / snap) * snap;
  moved.nowMm = Math.round(snapped);
  const x = Number(strip.dataset.sidePx) + (moved.nowMm - Number(strip.dataset.fromMm)) * Number(strip.dataset.pxPerMm);
  edge.setAttribute("transform", `translate(${x},0)`);
  tell(edge, strip.dataset.unit);
}

function tell(edge, unit) {
  const amount = (unit === "ft" ? moved.nowMm / MM_PER_FOOT : moved.nowMm / 1000).toFixed(2);
  edge.setAttribute("aria-valuenow", moved.nowMm);
  edge.setAttribute("aria-valuetext", `${amount} ${unit}`);
  let label = edge.querySelector(".edge-told");
  if (!label) {
    label = document.createElementNS(SVG, "text");
    label.setAttribute("class", "edge-told");
    label.setAttribute("text-anchor", "middle");
    label.setAttribute("y", "33");
    edge.append(label);
  }
  label.textContent = `${amount} ${unit}`;
}

function release(send) {
  if (!moved) return;
  const { edge, startMm, nowMm } = moved;
  edge.classList.remove("dragged");
  delete moved.startX;
  if (nowMm === startMm) return putBack();
  send({ what: "move", at_mm: startMm, to_mm: nowMm }); // `moved` stays: a refused move is put back
}

function putBack() {
  if (!moved) return;
  const { edge, startMm, timer } = moved;
  clearTimeout(timer);
  const strip = edge.ownerSVGElement;
  edge.classList.remove("dragged");
  if (strip) {
    const x = Number(strip.dataset.sidePx) + (startMm - Number(strip.dataset.fromMm)) * Number(strip.dataset.pxPerMm);
    edge.setAttribute("transform", `translate(${x},0)`);
    edge.setAttribute("aria-valuenow", startMm);
  }
  edge.querySelector(".edge-told")?.remove();
  moved = null;
}
