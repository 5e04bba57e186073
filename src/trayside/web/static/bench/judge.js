// What a scanned or typed code is, held against the sheet and what happened so far. Answers "ok" or the words of a stop.
const PAPER = /^(.{1,80}) R(\d{1,6}) ([0-9A-F]{12})$/i;
const PAST = { bag: ["bagged", "weighed", "sealed", "received"], control: ["inserted", "weighed", "sealed", "received"] };

const same = (a, b) => a.trim().toUpperCase() === b.trim().toUpperCase();

// `expected` is the row whose tag is due; `holes` are the issued sheets of the yard as the tablet last knew them.
export function judgeTag(code, { sheet, rows, expected, holes }) {
  const about = { code, number: expected.number, hole: sheet.hole_id, tray: sheet.tray, revision: sheet.revision };
  const paper = PAPER.exec(code);
  if (paper) return judgePaper(paper, sheet, about);
  const number = Object.keys(sheet.numbers).find((one) => same(one, code));
  if (number !== undefined) {
    const [tray] = sheet.numbers[number];
    if (tray !== sheet.tray) return stop("wrong_tray", { ...about, other: tray });
    const { object, row } = rows.find((one) => one.row.number === number);
    if (object.state === "void") return stop("void", about);
    if (PAST[sheet.control_rows.includes(row.kind) ? "control" : "bag"].includes(object.state)) {
      return stop("used", { ...about, state: object.state });
    }
    return number === expected.number ? { verdict: "ok", number } : stop("wrong_tag", about);
  }
  const withdrawn = Object.keys(sheet.withdrawn).find((one) => same(one, code));
  if (withdrawn !== undefined) return stop("old_number", { ...about, last: sheet.withdrawn[withdrawn] });
  const other = holeOf(code, holes, sheet.hole_id);
  return other ? stop("wrong_hole", { ...about, other }) : stop("unknown", about);
}

// A tray's tag, or the code in the head of the paper sheet: is this the tray that the screen is about?
export function judgeTray(code, sheet) {
  const here = `${sheet.hole_id}/${sheet.tray}`;
  const paper = PAPER.exec(code);
  if (paper) {
    const judged = judgePaper(paper, sheet, { code, hole: sheet.hole_id, revision: sheet.revision });
    return judged.key === "paper" ? { verdict: "sheet" } : judged;
  }
  return same(code, here) ? { verdict: "ok" } : stop("tray_tag", { other: code, here });
}

function judgePaper([, hole, revision, digest], sheet, about) {
  if (!same(hole, sheet.hole_id)) return stop("other_paper", { ...about, other: hole });
  if (Number(revision) !== sheet.revision || !same(digest, sheet.digest.slice(0, 12))) {
    return stop("old_paper", { ...about, last: Number(revision) });
  }
  return stop("paper", about);
}

// The hole among whose numbers the code lies. Numbers of one length and prefix stand in the order of their text.
function holeOf(code, holes, own) {
  const text = code.trim().toUpperCase();
  const inside = ([first, last]) => text.length === first.length && first.toUpperCase() <= text && text <= last.toUpperCase();
  return holes.find((one) => one.hole_id !== own && one.ranges.some(inside))?.hole_id ?? null;
}

const stop = (key, amounts) => ({ verdict: "stop", key, amounts });
