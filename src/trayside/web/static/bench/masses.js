// What the masses of this tray say together: asked from the yard when everything is sent, before the tray is closed.
// Without network nothing is told; each odd mass was told at the scale already.
import { draw, mark } from "./draw.js";
import { say } from "./words.js";

let asked = null;

// Asks once for each state of the tray; `onTold` gets the findings.
export async function hearMasses({ hole, tray, about, onTold }) {
  if (asked === about) return;
  asked = about;
  try {
    const answer = await fetch(`/bench/masses.json?${new URLSearchParams({ hole, tray })}`, {
      headers: { Accept: "application/json" }, cache: "no-store", redirect: "error", signal: AbortSignal.timeout(15_000),
    });
    if (answer.ok) onTold((await answer.json()).findings);
  } catch {
    asked = null; // asked again with the next news
  }
}

export function massesTold(findings) {
  if (!findings?.length) return null;
  const lines = findings.map((one) => draw("li", {},
    mark(one.severity === "note" ? "bar" : "triangle"), draw("b", {}, one.what), draw("span", {}, one.remedy)));
  return draw("div", { class: findings.some((one) => one.severity !== "note") ? "troubles masses" : "troubles masses quiet" }, draw("p", { class: "do" }, say("masses")), draw("ul", {}, ...lines));
}
