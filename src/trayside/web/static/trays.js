// A click on a tray picture tells the depth there: tray, row, centimetres, and marks the place.
const SVG = "http://www.w3.org/2000/svg";
const MM_PER_FOOT = 304.8;
const told = document.getElementById("told");

document.getElementById("spot")?.scrollIntoView({ inline: "center", block: "center" });

for (const picture of document.querySelectorAll(".tray-picture")) {
  picture.addEventListener("click", (event) => tell(picture, event));
}

function tell(picture, event) {
  const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(picture.getScreenCTM().inverse());
  const row = nearestRow(picture, at.y);
  if (!row) return;
  const channel = row.querySelector(".tray-channel");
  const leftMm = (at.x - number(channel, "x")) / Number(picture.dataset.pxPerMm);
  const piece = pieceAt(row, leftMm);
  const words = piece ? (piece.dataset.kind === "loss" ? told.dataset.loss : told.dataset.told) : told.dataset.none;
  const answer = document.createElement("p");
  answer.className = "answer";
  answer.textContent = words
    .replace("{tray}", picture.dataset.tray)
    .replace("{row}", row.dataset.row)
    .replace("{cm}", (leftMm / 10).toFixed(0))
    .replace("{depth}", piece ? written(depthAt(piece, leftMm, row.dataset.backward === "true")) : "");
  told.replaceChildren(answer);
  show(picture, channel, at.x);
}

function nearestRow(picture, y) {
  let best = null;
  let nearest = Infinity;
  for (const row of picture.querySelectorAll(".tray-row")) {
    const channel = row.querySelector(".tray-channel");
    const top = number(channel, "y");
    const away = Math.max(top - y, y - top - number(channel, "height"), 0);
    if (away < nearest) [best, nearest] = [row, away];
  }
  return best;
}

function pieceAt(row, leftMm) {
  const pieces = [...row.querySelectorAll("[data-left-mm]")];
  return pieces.find((piece) => leftMm >= Number(piece.dataset.leftMm) && leftMm <= Number(piece.dataset.rightMm));
}

function depthAt(piece, leftMm, backward) {
  const [left, right, from, to] = ["leftMm", "rightMm", "fromMm", "toMm"].map((name) => Number(piece.dataset[name]));
  const share = right > left ? (leftMm - left) / (right - left) : 0;
  return from + (backward ? 1 - share : share) * (to - from);
}

function written(depthMm) {
  return (told.dataset.unit === "ft" ? depthMm / MM_PER_FOOT : depthMm / 1000).toFixed(2);
}

function show(picture, channel, x) {
  document.querySelector(".asked")?.remove();
  const line = document.createElementNS(SVG, "path");
  line.setAttribute("class", "asked asked-line");
  line.setAttribute("d", `M${x},${number(channel, "y") - 3}v${number(channel, "height") + 6}`);
  picture.append(line);
}

function number(element, name) {
  return Number(element.getAttribute(name));
}
