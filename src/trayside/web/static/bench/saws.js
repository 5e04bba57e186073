// Whether the chosen saw may run for the row at hand, by what the yard said last; and the screen that says why not.
import { draw, mark } from "./draw.js";
import { button } from "./screen.js";
import { say } from "./words.js";

const AT_THE_SAW = new Set(["wash", "flush", "cut", "not cut"]);

// What stands against this step on this saw: a list of {what, do}, empty when nothing does. `known` is
// {saws, at}: the yard's saws as it told them, or null in a yard that keeps no register.
export function stopsFor({ known, saw, row, step, now = Date.now() }) {
  const sawn = step === "wash" || step === "flush" || row.saw_need;
  if (!known?.saws?.length || !AT_THE_SAW.has(step) || !sawn) return [];
  const found = known.saws.find((one) => one.saw === saw);
  if (!found) return [{ what: say("saws.choose", { saw }), do: say("saws.choose.do") }];
  if (step === "wash") return [];
  if (row.saw_need && !found.kinds.includes(row.saw_need)) {
    return [{ what: say(`saws.wrong.${row.saw_need}`, { saw, kind: found.kind }), do: say("saws.wrong.do") }];
  }
  if (found.stops.length) return found.stops;
  if (found.until !== null && now >= Date.parse(found.until)) {
    return [{ what: say("saws.old", { saw }), do: say("saws.old.do") }];
  }
  return [];
}

export const ready = (one, now = Date.now()) => !one.stops.length && (one.until === null || now < Date.parse(one.until));

export function stopPanel({ stops, saw, known, online }) {
  const at = new Date(known.at);
  const clock = `${String(at.getHours()).padStart(2, "0")}:${String(at.getMinutes()).padStart(2, "0")}`;
  return draw("section", { class: "now saw-stop", role: "alert" },
    draw("div", { class: "saw-stop-head" }, mark("octagon"), draw("p", { class: "do", id: "saw-stop" }, say("saws.stop", { saw }))),
    draw("ul", { class: "saw-stop-list" }, ...stops.map((stop) => draw("li", {},
      draw("b", {}, `${stop.what}.`), draw("span", {}, `${stop.do}.`)))),
    draw("p", { class: "how", id: "saw-known" }, online ? say("saws.known", { at: clock }) : say("saws.known.offline", { at: clock, day: at.toLocaleDateString() })),
    online && known.saws.some((one) => one.saw === saw) ? draw("p", {}, draw("a", { class: "button", id: "saw-card", href: addressOf(saw) }, say("saws.card"))) : null);
}

const addressOf = (saw) => `/saws/${encodeURIComponent(saw.replaceAll("/", "~"))}`;

export function stopFoot({ step, onChoose, onUndo, onNotCut }) {
  return draw("footer", { class: "foot" },
    step === "cut" ? button(say("not_cut"), onNotCut, { kind: "beside", id: "not-cut" }) : button(say("undo"), onUndo, { kind: "beside", id: "undo" }),
    button(say("saws.other"), onChoose, { main: true, id: "main" }));
}

// The yard's saws to choose from, each with a word and a shape.
export function chooser({ known, chosen, onChoose, onCancel }) {
  return draw("section", { class: "page reasons saw-choice" },
    draw("p", { class: "do" }, say("saws.which")),
    ...known.saws.map((one) => {
      const runs = ready(one);
      const words = runs ? say("saws.ready") : one.stops[0]?.what ?? say("saws.old", { saw: one.saw });
      return button([mark(runs ? "ring" : "octagon"), draw("b", {}, one.saw), draw("span", {}, say(`saws.kind.${one.kind}`)), draw("small", {}, words)],
        () => onChoose(one.saw), { kind: `reason saw-line${one.saw === chosen ? " chosen" : ""}`, label: `${one.saw}: ${words}` });
    }),
    button(say("cancel"), onCancel, { id: "cancel" }));
}
