// Words come with the page; {names} in them are filled in here.
const WORDS = JSON.parse(document.getElementById("words").textContent);

export function say(key, amounts = {}) {
  const words = WORDS[`bench.${key}`];
  if (words === undefined) throw new Error(`no words for ${key}`);
  return words.replace(/\{(\w+)\}/g, (whole, name) => (name in amounts ? String(amounts[name]) : whole));
}
