// What the operator sees while cutting: NOW very large, NEXT below, and one main button for the next act.
import { draw, mark, picture, trayMap } from "./draw.js";
import { cameraReads } from "./scan.js";
import { gramsTyped, heaviest, massText } from "./weigh.js";
import { say } from "./words.js";

const KIND_MARKS = { duplicate: "square", standard: "filled", blank: "ring" };

// A button of the bench: `main` is the one for the next act.
export function button(words, onclick, { main = false, disabled = false, label = null, id = null, kind = "" } = {}) {
  return draw("button", { type: "button", class: `button ${main ? "main" : ""} ${kind}`, onclick, disabled, "aria-label": label, id }, words);
}

export function head({ title, progress, status, onMenu, onBack, menuOpen = false }) {
  return draw("header", { class: "head" },
    onBack ? button("‹", onBack, { label: say("back"), kind: "icon" }) : null,
    draw("div", { class: "where" }, draw("b", {}, title), draw("span", {}, progress)),
    draw("div", { id: "status", class: "status", role: "status" }, ...status),
    onMenu ? button(menuOpen ? say("close_menu") : say("menu"), onMenu, { id: "menu", kind: "icon" }) : null,
  );
}

// Network and queue: a shape and words.
export function statusOf(sync, counts) {
  const words = [];
  if (sync.signIn) words.push([mark("triangle"), say("sign_to_send", { count: counts.waiting })]);
  else if (!sync.online) words.push([mark("bar"), say("offline", { count: counts.waiting })]);
  else if (counts.waiting) words.push([mark("triangle"), say("waiting", { count: counts.waiting })]);
  else words.push([mark("ring"), say("sent")]);
  if (counts.trouble) words.push([mark("octagon"), say("trouble", { count: counts.trouble })]);
  return words.map(([shape, text]) => draw("span", { class: "told" }, shape, text));
}

export function kindMark(row) {
  if (row.kind === "sample") return null;
  return draw("span", { class: `kind kind-${row.kind}` }, mark(KIND_MARKS[row.kind]), say(`kind.${row.kind}`));
}

// The panel for the row at hand, by its step.
export function now(model) {
  const { current, sheet } = model;
  if (!current) return null;
  const { row, step } = current;
  return draw("section", { class: `now step-${step.replace(" ", "-")}`, "aria-label": say("now") },
    draw("div", { class: "now-head" }, draw("span", { class: "tag-word" }, say("now")), kindMark(row)),
    draw("p", { class: "number", id: "number" }, row.number),
    draw("div", { class: "now-body" }, ...(PANELS[step] ?? PANELS.cut)(row, sheet, model)),
  );
}

const line = (kind, text) => (text ? draw("p", { class: kind }, text) : null);

function core(row, sheet) {
  return [
    draw("p", { class: "span" }, row.span),
    draw("p", { class: "place" }, row.place, row.end ? draw("span", { class: "to-place" }, ` → ${row.end}`) : null),
    trayMap(sheet, row),
  ];
}

const PANELS = {
  flush: (row, sheet) => [
    line("do", say("flush")),
    line("how", say("flush.how", { after: row.cleaning.after, material: sheet.settings.flush_material })),
  ],
  wash: (row) => [line("do", say("wash")), line("how", say("wash.how", { after: row.cleaning.after }))],
  cut: (row, sheet) => [
    draw("div", { class: "columns" },
      draw("div", {},
        ...core(row, sheet),
        line("short", row.short_of_core && say("core_there", { length: row.short_of_core })),
        line("caution", row.caution)),
      draw("div", {},
        line("do", `${row.portion === "whole" ? say("cut.whole") : say("cut")}: ${row.method}`),
        line("how", row.method_reason),
        line("blade", row.blade),
        line("duplicate", row.duplicate)),
      draw("div", { class: "bagging" },
        picture(row.picture),
        draw("p", { class: "bag" }, say("into_bag", { bag: row.bag })),
        line("how", row.stays))),
  ],
  bag: (row) => [
    line("do", say("bag")),
    draw("div", { class: "columns" },
      draw("div", {}, draw("p", { class: "bag" }, say("into_bag", { bag: row.bag })), line("how", row.stays), line("duplicate", row.duplicate)),
      draw("div", { class: "bagging" }, picture(row.picture))),
    draw("div", { id: "camera" }),
  ],
  insert: (row) => [
    line("bag", row.order),
    line("how", row.how),
    line("do", say("insert")),
    line("why", row.why_here),
    draw("div", { id: "camera" }),
  ],
  weigh: (row, sheet, model) => [
    draw("div", { class: "columns weighing" },
      draw("div", {},
        line("do", say("weigh")),
        line("range", row.range ? say("weigh.range", { range: row.range }) : say("weigh.no_range")),
        line("bag", row.bag || row.order),
        sheet.settings.has_scale ? draw("p", { id: "scale", class: "how" }, model.scaleWords) : null),
      massPad(model)),
  ],
  kept: (row, sheet) => [
    line("do", say("kept")),
    draw("div", { class: "columns" },
      draw("ul", { class: "re-mark" }, ...row.re_mark.map((one) => draw("li", {}, draw("b", {}, one.what), one.place ? draw("span", {}, one.place) : null))),
      draw("div", {}, trayMap(sheet, row))),
  ],
  look: (row) => [line("do", say("mass.do"))],
};

// Digits in the size of a thumb in a glove.
export function pad({ text, keys, onKey, label, unit = "" }) {
  const key = (name, words = name, aria = null) => button(words, () => onKey(name), { kind: "key", label: aria });
  return draw("div", { class: "pad" },
    draw("output", { class: "typed", id: "typed", "aria-label": label }, text || "·", unit ? draw("small", {}, ` ${unit}`) : null),
    ...keys.map((name) => key(name)),
    key("Backspace", "⌫", say("delete")));
}

function massPad({ ui, sheet, on }) {
  return pad({ text: ui.typed, keys: [..."789456123.0"], onKey: on.key, label: say("weigh"), unit: sheet.mass_unit });
}

export function typeKey(text, key, allowed, longest) {
  if (key === "Backspace") return text.slice(0, -1);
  const sign = key === "," ? "." : key;
  if (!allowed.includes(sign) || text.length >= longest || (sign === "." && text.includes("."))) return text;
  return text + sign;
}

export function next({ state, current, sheet }) {
  const at = current ? state.rows.indexOf(current) : -1;
  const then = state.rows.slice(at + 1).find((one) => !["done", "void", "not cut"].includes(one.step));
  const words = then
    ? [draw("b", {}, then.row.number), kindMark(then.row), draw("span", {}, [then.row.span, then.row.place, then.row.order].filter(Boolean).join(" · ")),
      then.row.caution ? draw("span", { class: "caution" }, then.row.caution) : null]
    : [draw("span", {}, say("next.close"))];
  return draw("section", { class: "next", "aria-label": say("next") }, draw("span", { class: "tag-word" }, say("next")), ...words);
}

// The main button of a step, and at most one beside it.
export function foot(model) {
  const { current, on, ui, sheet } = model;
  const undo = () => button(say("undo"), on.undo, { kind: "beside", id: "undo" });
  const { row, step } = current;
  const main = (words, act, settings = {}) => button(words, act, { main: true, id: "main", ...settings });
  // The scanner's trigger is the main act here; typing is for a tag that cannot be read.
  const typing = () => [undo(), button(say("type_tag"), on.typeTag, { kind: cameraReads() ? "beside" : "wide", id: "type" }),
    cameraReads() ? main(ui.camera ? say("camera.stop") : say("camera"), on.camera) : null];
  const buttons = {
    flush: () => [undo(), main(say("flush.go"), on.flush)],
    wash: () => [undo(), main(say("wash.go"), on.wash)],
    cut: () => [button(say("not_cut"), on.notCut, { kind: "beside", id: "not-cut" }), main(row.portion === "whole" ? say("cut.whole.go") : say("cut.go"), on.cut)],
    "not cut": () => [main(say("not_cut.again"), on.cut)],
    bag: typing,
    insert: typing,
    weigh: () => {
      const grams = gramsTyped(ui.typed, sheet.grams_per_unit);
      if (!ui.typed && model.scaleNow?.mass_g) {
        return [undo(), main(say("weigh.take", { mass: massText(model.scaleNow.mass_g, sheet.grams_per_unit, 3), unit: sheet.mass_unit }), on.takeScale)];
      }
      const wrong = ui.typed && grams === null && !/^\.?$/.test(ui.typed);
      const words = grams ? say("weigh.go", { mass: massText(grams, sheet.grams_per_unit, 3), unit: sheet.mass_unit })
        : wrong ? say("weigh.wrong", { most: heaviest(sheet.grams_per_unit), unit: sheet.mass_unit }) : say("weigh.empty");
      return [undo(), main(words, on.saveMass, { disabled: grams === null })];
    },
    kept: () => [undo(), main(say("kept.go"), on.kept)],
    look: () => [undo(), main(say("mass.do"), on.lookAgain)],
  }[step]();
  return draw("footer", { class: "foot" }, ...buttons.filter(Boolean));
}
