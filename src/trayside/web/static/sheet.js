// Changes to the sheet: typed in a row, pressed, or dragged on the strip. The yard computes what each change does; this
// page keeps the list of changes, shows the answer, and sends the list when it is saved.
import { postHeaders } from "./posting.js";
import { followStrip, focusEdge } from "./sample-strip.js";

const form = document.getElementById("save-form");
const pending = document.getElementById("pending");
const problem = document.getElementById("problem");
const seeBoth = document.getElementById("see-both");
const NAME = "trayside.name";

let edits = JSON.parse(form.elements.edits.value);
let asked = 0;

document.documentElement.classList.add("script");
unlockRows();
rememberName();
followStrip(document.getElementById("strip-frame"), (edit) => change(edit, { edge: edit.to_mm }));

document.addEventListener("change", (event) => {
  const input = event.target.closest?.("input.depth");
  if (!input) return;
  const at = Number(input.dataset.atMm);
  change({ what: "move", at_mm: at, to: input.value }, { end: input.dataset.end, input });
});
document.addEventListener("keydown", (event) => {
  const input = event.target.closest?.("input.depth");
  if (input && event.key === "Escape") input.value = input.defaultValue;
  if (input && event.key === "Enter") input.blur();
});
document.addEventListener("click", (event) => {
  const button = event.target.closest?.(".acts button");
  if (button) change({ what: button.dataset.what, at_mm: Number(button.dataset.atMm) }, {});
  const row = event.target.closest?.("tr[data-number]");
  if (row && !button) choose(row.dataset.number);
});
document.getElementById("undo").addEventListener("click", () => {
  edits = edits.slice(0, -1);
  ask(edits, {});
});
// These forms carry the changes with them; Cancel means to leave them.
document.addEventListener("submit", (event) => {
  if (event.target.querySelector("[data-edits]")) window.removeEventListener("beforeunload", warn);
});
document.getElementById("cancel").addEventListener("click", () => window.removeEventListener("beforeunload", warn));

function change(edit, focus) {
  ask([...edits, edit], focus);
}

async function ask(wanted, focus) {
  const turn = ++asked;
  document.body.classList.add("busy");
  let answer;
  try {
    answer = await fetch(form.dataset.preview, {
      method: "POST",
      headers: postHeaders({ "Content-Type": "application/json", Accept: "application/json" }),
      body: JSON.stringify({ base_version: Number(form.elements.base_version.value), edits: wanted }),
    });
  } catch {
    answer = null;
  }
  if (turn !== asked) return; // a later change is already on its way
  document.body.classList.remove("busy");
  if (!answer) return complain(problem.dataset.lost, focus);
  const told = await answer.json();
  if (!answer.ok) {
    if (answer.status === 409) {
      // Kept, so that both can be seen side by side.
      edits = wanted.filter((edit) => edit.to === undefined);
      form.elements.edits.value = JSON.stringify(wanted);
      seeBoth.hidden = false;
    }
    return complain(`${told.what}. ${told.remedy}.`, focus);
  }
  edits = told.edits;
  for (const hidden of document.querySelectorAll("[data-edits]")) hidden.value = JSON.stringify(edits);
  show(told.parts, focus);
}

function show(parts, focus) {
  const frame = document.getElementById("strip-frame");
  const scrolled = frame.scrollLeft;
  replace("summary", parts.summary);
  replace("plan-findings", parts.findings);
  replace("changes", parts.changes);
  frame.innerHTML = fragment(parts.strip).querySelector("#strip-frame").innerHTML;
  frame.scrollLeft = scrolled;
  const table = document.createElement("table");
  table.innerHTML = parts.rows;
  document.getElementById("rows").replaceWith(table.querySelector("#rows"));
  unlockRows();
  problem.hidden = true;
  pending.hidden = edits.length === 0;
  // Issuing would issue what is saved, not what is on the page.
  for (const button of document.querySelectorAll(".issuing button")) button.disabled = edits.length > 0;
  window.removeEventListener("beforeunload", warn);
  if (edits.length) window.addEventListener("beforeunload", warn);
  refocus(focus);
}

function complain(words, focus) {
  problem.textContent = words;
  problem.hidden = false;
  pending.hidden = false;
  if (focus.input) focus.input.value = focus.input.defaultValue;
  const strip = document.getElementById("strip-frame");
  strip.dispatchEvent(new CustomEvent("put-back"));
}

function refocus(focus) {
  const last = edits.at(-1);
  if (focus.edge !== undefined) focusEdge(focus.edge);
  else if (focus.end && last) {
    document.querySelector(`input.depth[data-at-mm="${last.to_mm}"][data-end="${focus.end}"]`)?.focus();
  }
}

function choose(number) {
  document.querySelector(".strip-sample.chosen")?.classList.remove("chosen");
  const sample = document.querySelector(`.strip-sample[data-number="${CSS.escape(number)}"]`);
  if (!sample) return;
  sample.classList.add("chosen");
  const frame = document.getElementById("strip-frame");
  frame.scrollLeft = Number(sample.getAttribute("x")) - frame.clientWidth / 2;
}

function replace(id, html) {
  document.getElementById(id).replaceWith(fragment(html).querySelector(`#${id}`));
}

function fragment(html) {
  const template = document.createElement("template");
  template.innerHTML = html;
  return template.content;
}

function unlockRows() {
  for (const input of document.querySelectorAll("input.depth")) input.readOnly = false;
}

function rememberName() {
  const known = localStorage.getItem(NAME) ?? "";
  for (const input of document.querySelectorAll("[data-name]")) {
    if (!input.value) input.value = known;
    input.addEventListener("change", () => localStorage.setItem(NAME, input.value));
  }
}

function warn(event) {
  event.preventDefault();
}
