// Closing a tray: bags counted are tickets counted are the plan, the kept core is photographed and back in its place.
import { draw, mark } from "./draw.js";
import { massesTold } from "./masses.js";
import { button, pad } from "./screen.js";
import { latest } from "./state.js";
import { say } from "./words.js";

export const planned = (state) => state.rows.filter((one) => one.step !== "void").length;
export const openRows = (state) => state.rows.filter((one) => !["done", "void"].includes(one.step));
export const halvesToConfirm = (state) =>
  state.rows.filter((one) => one.row.keeps && one.step === "done" && !latest(one.object, "kept_half_returned"));

const photographed = (state) =>
  state.tray.facts.some((fact) => fact.event.kind === "photo_attached" && fact.values.view === "after_cut");

export function closing(model) {
  const { state, sheet, ui, on } = model;
  const plan = planned(state);
  const open = openRows(state);
  const halves = halvesToConfirm(state);
  const photo = photographed(state);
  const count = (name) => check(ui[name] === plan, say(`close.${name}`),
    button(ui[name] === null ? say("close.count", { what: "" }).trim() : String(ui[name]), () => on.count(name), { id: name, kind: "count", label: say("close.count", { what: say(`close.${name}`) }) }));
  const lines = [
    check(!open.length, `${say("close.plan")} ${plan} · ${say("close.done")} ${plan - open.length}`,
      open.length ? draw("p", { class: "how" }, `${say("close.open")}: ${open.map((one) => one.row.number).join(", ")}. ${say("close.open.do")}`) : null),
    count("bags"),
    count("tickets"),
    check(!halves.length, say("close.kept"), halves.length ? button(say("close.kept.yes"), on.confirmHalves, { id: "halves", kind: "count" }) : null),
    check(photo || !sheet.settings.photo_at_close, say("close.photo"),
      draw("div", { class: "photo" }, photoButton(photo, on.photo), draw("p", { class: "how", id: "photo-told" }, ui.photoTold))),
  ];
  return draw("section", { class: "page closing" }, draw("p", { class: "do" }, say("close")), draw("ul", { class: "checks" }, ...lines), massesTold(ui.masses));
}

function check(good, words, more = null) {
  return draw("li", { class: good ? "good" : "open", "data-good": good ? "yes" : "no" }, mark(good ? "ring" : "square"), draw("span", { class: "check-words" }, words), more);
}

function photoButton(taken, onPhoto) {
  const input = draw("input", {
    type: "file", accept: "image/jpeg,image/png,image/webp,image/*", capture: "environment", id: "photo", class: "file",
    onchange: (event) => { if (event.target.files[0]) onPhoto(event.target.files[0]); },
  });
  return draw("label", { class: "button count", for: "photo" }, taken ? say("close.photo.again") : say("close.photo.take"), input);
}

// What still keeps the tray from being closed, in words; null when nothing does.
export function stillToDo({ state, sheet, ui }) {
  const plan = planned(state);
  if (openRows(state).length) return say("close.open");
  for (const name of ["bags", "tickets"]) if (ui[name] !== plan) return say("close.count", { what: say(`close.${name}`) }).toLowerCase();
  if (halvesToConfirm(state).length) return say("close.kept").toLowerCase();
  if (sheet.settings.photo_at_close && !photographed(state)) return say("close.photo").toLowerCase();
  return null;
}

export function closingFoot(model) {
  const left = stillToDo(model);
  return draw("footer", { class: "foot" },
    button(say("undo"), model.on.undo, { kind: "beside", id: "undo" }),
    button(left ? say("close.todo", { what: left }) : say("close.go"), model.on.closeTray, { main: true, id: "main", disabled: left !== null }));
}

export function countPad({ name, typed, on }) {
  return draw("section", { class: "page" },
    draw("p", { class: "do" }, say("close.count", { what: say(`close.${name}`).toLowerCase() })),
    pad({ text: typed, keys: [..."7894561230"], onKey: on.key, label: say(`close.${name}`) }));
}

export function closed({ state, sheet, on, nextTray }) {
  const fact = latest(state.tray, "tray_closed");
  return [
    draw("section", { class: "page closed" },
      mark("ring"),
      draw("p", { class: "do" }, say("closed", { tray: sheet.tray })),
      draw("p", { class: "how" }, say("closed.by", { bags: fact?.values.bags ?? "", person: fact?.event.person ?? "" }))),
    draw("footer", { class: "foot" },
      button(say("undo"), on.undo, { kind: "beside", id: "undo" }),
      button(nextTray ? say("choose.tray", { tray: nextTray }) : say("back"), nextTray ? () => on.openTray(nextTray) : on.leave, { main: true, id: "main" })),
  ];
}
