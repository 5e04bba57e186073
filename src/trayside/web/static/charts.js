// Draws the charts of a page when they come into view, and links them: what is chosen in one is marked in all.
// The drawing program reads expressions instead of making code of them, so that no page has to allow that.
const PROGRAM = document.getElementById("charts")?.dataset.program;
const drawn = new Map();
let program;

function load() {
  program ??= import(PROGRAM);
  return program;
}

async function describe(figure) {
  const held = figure.querySelector("script[type='application/json']");
  if (held) return JSON.parse(held.textContent);
  const answer = await fetch(figure.dataset.chart, { headers: { accept: "application/json" } });
  if (!answer.ok) throw new Error(String(answer.status));
  return answer.json();
}

async function draw(figure) {
  const place = figure.querySelector(".chart");
  try {
    const [description] = await Promise.all([describe(figure), load()]);
    const options = { ast: true, actions: false, tooltip: false, defaultStyle: false, renderer: "svg", hover: false, logLevel: 1 };
    const { view } = await globalThis.drawChart(place, description, options);
    drawn.set(figure, { view, points: description.datasets.points ?? [], at: -1 });
    follow(figure, view);
    mark();
    figure.dataset.drawn = "yes";
  } catch (fault) {
    figure.dataset.drawn = "no";
    place.textContent = place.dataset.failed;
    console.warn(fault);
  }
}

function follow(figure, view) {
  view.addEventListener("mousemove", (event, item) => {
    if (!chosen.figure) tell(figure, item?.datum);
  });
  view.addEventListener("click", (event, item) => choose(figure, item?.datum?.number ? item.datum : null));
  if ("stretch" in view.getState({ signals: (name) => name === "stretch" }).signals) {
    view.addSignalListener("stretch", (name, value) => offerStretch(figure, value.place));
  }
  figure.querySelector(".chart").addEventListener("keydown", (event) => walk(figure, event));
}

// what is chosen

const chosen = { number: "", batch: "", figure: null };

function choose(figure, datum) {
  chosen.number = datum?.number ?? "";
  chosen.figure = datum ? figure : null;
  tell(figure, datum);
  mark();
}

function mark() {
  for (const { view } of drawn.values()) {
    view.signal("picked", chosen.number).signal("pickedBatch", chosen.batch).runAsync();
  }
  for (const row of document.querySelectorAll("tr[data-number]")) {
    row.classList.toggle("picked", Boolean(chosen.number) && row.dataset.number === chosen.number);
  }
}

function tell(figure, datum) {
  const told = figure.querySelector(".chart-told");
  if (!datum?.number) {
    told.textContent = told.dataset.hint ?? "";
    return;
  }
  const link = document.createElement("a");
  link.href = `/sample/${encodeURIComponent(datum.number)}`;
  link.textContent = datum.number;
  told.replaceChildren(link, `: ${datum.says}`);
}

// by keyboard: arrows walk from point to point, Enter opens the sample, Escape lets go

function walk(figure, event) {
  const held = drawn.get(figure);
  if (!held?.points.length) return;
  const steps = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1, Home: -Infinity, End: Infinity };
  if (event.key in steps) {
    event.preventDefault();
    held.at = Math.min(Math.max(held.at + steps[event.key], 0), held.points.length - 1);
    choose(figure, held.points[held.at]);
  } else if (event.key === "Enter" && chosen.number) {
    window.location.assign(`/sample/${encodeURIComponent(chosen.number)}`);
  } else if (event.key === "Escape") {
    held.at = -1;
    choose(figure, null);
  }
}

// a stretch dragged over a chart fills the form below it

function offerStretch(figure, between) {
  const form = figure.closest(".figure-group")?.querySelector("form.close-look");
  if (!form || !between) return;
  form.elements.first.value = Math.max(1, Math.ceil(between[0]));
  form.elements.last.value = Math.floor(between[1]);
  form.classList.add("offered");
}

const asked = new URLSearchParams(window.location.search);
const batch = document.getElementById("pick-batch");
batch?.addEventListener("change", () => {
  chosen.batch = batch.value;
  mark();
});
if (batch && asked.get("batch")) batch.value = asked.get("batch");
chosen.batch = batch?.value ?? "";
chosen.number = asked.get("pick") ?? "";

const watch = new IntersectionObserver(
  (seen) => {
    for (const one of seen) {
      if (one.isIntersecting) {
        watch.unobserve(one.target);
        draw(one.target);
      }
    }
  },
  { rootMargin: "400px" },
);
if (PROGRAM) for (const figure of document.querySelectorAll("figure[data-chart]")) watch.observe(figure);
