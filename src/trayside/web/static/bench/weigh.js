// Masses: typed on a pad for wet gloves, or taken from the scale.
const HEAVIEST_G = 100_000;
const EVERY_MS = 500;

// Whole grams of what was typed in the yard's unit; null when it cannot be a bag.
export function gramsTyped(text, gramsPerUnit) {
  const typed = text.trim().replace(",", ".");
  if (!/^(\d+\.?\d*|\.\d+)$/.test(typed)) return null;
  const grams = Math.round(Number(typed) * gramsPerUnit);
  return grams > 0 && grams <= HEAVIEST_G ? grams : null;
}

export const heaviest = (gramsPerUnit) => Math.floor(HEAVIEST_G / gramsPerUnit);

export const massText = (grams, gramsPerUnit, digits = 2) => (grams / gramsPerUnit).toFixed(digits);

// Asks the yard's scale again and again and tells what it shows; stops when the returned function is called.
export function watchScale(onNow) {
  let over = false;
  const ask = async () => {
    if (over) return;
    let now = { state: "silent", mass_g: null, load: 0, words: "" };
    try {
      const answer = await fetch("/scale", { headers: { Accept: "application/json" }, cache: "no-store", signal: AbortSignal.timeout(2000) });
      if (answer.ok) now = await answer.json();
    } catch { /* no network: the mass is typed */ }
    if (over) return;
    onNow(now);
    setTimeout(ask, EVERY_MS);
  };
  ask();
  return () => { over = true; };
}
