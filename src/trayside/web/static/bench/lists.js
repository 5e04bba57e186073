// Choosing a tray; the list of bags behind "More"; reasons; what a person must look at.
import { draw, mark } from "./draw.js";
import { button, kindMark } from "./screen.js";
import { say } from "./words.js";

export function chooser({ holes, offline, onOpen }) {
  if (!holes.length) return draw("section", { class: "page" }, draw("p", { class: "do" }, say("choose.none")));
  const trays = (hole) => hole.trays.map(([tray, bags]) => button(
    [draw("b", {}, say("choose.tray", { tray })), bags === null ? "" : draw("small", {}, say("choose.bags", { bags }))],
    () => onOpen(hole.hole_id, tray), { kind: "tray", label: `${hole.hole_id} ${say("choose.tray", { tray })}` }));
  return draw("section", { class: "page" },
    draw("p", { class: "do" }, say("choose")),
    offline ? draw("p", { class: "how" }, mark("bar"), say("choose.offline")) : null,
    ...holes.map((hole) => draw("details", { class: "hole", open: holes.length <= 3, "data-hole": hole.hole_id },
      draw("summary", {}, say("choose.hole", { hole: hole.hole_id, revision: hole.revision })),
      draw("div", { class: "trays" }, ...trays(hole)))),
    draw("p", {}, draw("a", { href: "/", class: "button office" }, say("choose.office"))));
}

const STEP_WORDS = { "not cut": "step.not_cut", void: "step.void", weigh: "step.weigh", look: "step.look", done: "done" };

export function menu(model) {
  const { state, on, ui, who } = model;
  const rows = state.rows.map((one) => {
    const words = STEP_WORDS[one.step] ?? (one.object.state === "planned" ? "step.planned" : "open");
    const shape = one.step === "done" ? "ring" : one.step === "not cut" ? "bar" : one.step === "void" ? "octagon" : "square";
    return draw("li", { class: "bag-line", "data-number": one.row.number },
      button([mark(shape), draw("b", {}, one.row.number), kindMark(one.row), draw("span", {}, one.row.span || one.row.material || ""), draw("span", { class: "how" }, say(words))],
        () => on.choose(one), { kind: "line", label: `${one.row.number} ${say(words)}` }),
      one.step === "not cut" ? button(say("void", { number: one.row.number }), () => on.voidNumber(one), { kind: "beside" }) : null);
  });
  return draw("section", { class: "page" },
    draw("div", { class: "switches" },
      button(say("undo"), on.undo, { id: "undo" }),
      button(ui.look === "night" ? say("look.sun") : say("look.night"), on.look, { id: "look" }),
      button(ui.sound ? say("sound.off") : say("sound.on"), on.sound, { id: "sound" }),
      button(say("saw", { saw: ui.saw }), on.saw, { id: "saw" }),
      button(say("person", { person: who.person || "–" }), on.person, { id: "person" }),
      button(say("back"), on.leave, { id: "leave" })),
    troubleList(model.troubles, model.badPhotos),
    draw("p", { class: "do" }, say("list")),
    draw("ul", { class: "bag-lines" }, ...rows));
}

function troubleList(troubles, badPhotos) {
  if (!troubles.length && !badPhotos.length) return null;
  const lines = troubles.map((act) => draw("li", {},
    mark("octagon"),
    draw("b", {}, `${say(`act.${act.event.kind}`)} ${act.event.object_id} · ${say(`trouble.${act.state}`)}`),
    draw("span", {}, [act.answer?.why, act.answer?.remedy].filter(Boolean).join(". "))));
  const photos = badPhotos.map((photo) => draw("li", {}, mark("octagon"), draw("b", {}, say("trouble.refused")), draw("span", {}, photo.why)));
  return draw("div", { class: "troubles" }, draw("p", { class: "do" }, say("trouble.title")), draw("ul", {}, ...lines, ...photos));
}

// One of several reasons, or words of one's own.
export function reasons({ title, choices, onReason, onCancel }) {
  const typed = draw("input", { id: "other", maxlength: 200, autocomplete: "off", "aria-label": say("other.what"), placeholder: say("other.what") });
  const own = () => { if (typed.value.trim()) onReason(typed.value.trim().replace(/\s+/g, " ")); };
  return draw("section", { class: "page reasons" },
    draw("p", { class: "do" }, title),
    ...choices.map((words) => button(words, () => onReason(words), { kind: "reason" })),
    draw("form", { class: "own", onsubmit: (event) => { event.preventDefault(); own(); } }, typed, button(say("save"), own, {})),
    button(say("cancel"), onCancel, { id: "cancel" }));
}

export function askText({ title, value, onText, onCancel, go = say("save") }) {
  const typed = draw("input", { id: "text", value, maxlength: 80, autocomplete: "off", "aria-label": title });
  const give = () => { if (typed.value.trim()) onText(typed.value.trim().replace(/\s+/g, " ")); };
  return draw("section", { class: "page reasons" },
    draw("p", { class: "do" }, title),
    draw("form", { class: "own", onsubmit: (event) => { event.preventDefault(); give(); } }, typed, button(go, give, { main: true, id: "main" })),
    onCancel ? button(say("cancel"), onCancel, { id: "cancel" }) : null);
}
