// Where bags, tray and saw stand, read off their events by the yard's own table of moves. Nothing here knows a state by
// heart that the table does not name; the steps below say which act is next in which state.

// The events of a tray in the order that counts: the ledger's first, then what this tablet has not sent yet.
export function inOrder(known, acts) {
  const found = new Map(known.map((one) => [one.event.event_id, one]));
  for (const act of acts) {
    if (act.state === "refused" || found.has(act.event.event_id)) continue;
    const seq = act.answer?.seq ?? null;
    found.set(act.event.event_id, {
      event: act.event, seq, place: act.place, standing: act.answer?.standing ?? "stands",
      why: act.answer?.why ?? "", against: act.answer?.against ?? null,
    });
  }
  const order = (one) => (one.seq === null ? [1, one.place] : [0, one.seq]);
  return [...found.values()].sort((a, b) => {
    const [x, y] = [order(a), order(b)];
    return x[0] - y[0] || x[1] - y[1];
  });
}

// The object after its events. `entries` are of one object; `machine` is one of the table's.
export function foldObject(entries, machine) {
  const corrections = new Map();
  const disputed = new Map();
  for (const entry of entries) {
    if (entry.event.kind === "corrected") {
      corrections.set(entry.event.corrects, [...(corrections.get(entry.event.corrects) ?? []), entry.event]);
    } else if (entry.standing === "conflict") {
      disputed.set(entry.event.event_id, entry);
    }
  }
  const fold = { state: machine.states[0], facts: [], waiting: [], conflicts: [], setAside: [] };
  const take = (event) => {
    const verdict = verdictOf(corrections.get(event.event_id) ?? []);
    const move = machine.moves.find((one) => one.kind === event.kind) ?? null;
    const late = move !== null && move.late_in.includes(fold.state) && !fold.facts.some((fact) => fact.event.kind === event.kind);
    if (verdict === "set_aside") fold.setAside.push(event);
    else if (verdict === "stands") count(event, move);
    else if (disputed.has(event.event_id)) fold.conflicts.push({ event, why: disputed.get(event.event_id).why });
    else if (move === null) fold.conflicts.push({ event, why: "" });
    else if (move.from_states.includes(fold.state) || late) count(event, move);
    else if (canStill(machine, fold.state, move)) fold.waiting.push(event);
    else fold.conflicts.push({ event, why: "" });
  };
  const count = (event, move) => {
    const after = corrections.get(event.event_id) ?? [];
    const values = { ...event.values };
    for (const one of after) {
      for (const [name, value] of Object.entries(one.values)) if (name !== "verdict") values[name] = value;
    }
    fold.facts.push({ event, values, corrections: after });
    const inTime = move !== null && !move.late_in.includes(fold.state);
    if (inTime && move.to !== null && ahead(machine, fold.state).has(move.to)) {
      fold.state = move.to;
      const waiting = fold.waiting;
      fold.waiting = [];
      for (const earlier of waiting) take(earlier);
    }
  };
  for (const entry of entries) if (entry.event.kind !== "corrected") take(entry.event);
  return fold;
}

function verdictOf(corrections) {
  const verdicts = corrections.map((one) => one.values.verdict).filter((verdict) => verdict !== "restated");
  return verdicts.at(-1) ?? null;
}

function ahead(machine, state) {
  const reached = new Set([state]);
  const fresh = [state];
  while (fresh.length) {
    const here = fresh.pop();
    for (const move of machine.moves) {
      if (move.to !== null && move.from_states.includes(here) && !reached.has(move.to)) {
        reached.add(move.to);
        fresh.push(move.to);
      }
    }
  }
  return reached;
}

function canStill(machine, state, move) {
  const reached = ahead(machine, state);
  return move.from_states.some((name) => reached.has(name));
}

export const latest = (object, kind) => object.facts.findLast((fact) => fact.event.kind === kind) ?? null;

// Everything the screen asks: every row with its state and next step, the tray, the row at hand.
export function trayState(sheet, known, acts) {
  const entries = inOrder(known, acts);
  const of = new Map();
  for (const entry of entries) {
    const name = `${entry.event.object_type} ${entry.event.object_id}`;
    of.set(name, [...(of.get(name) ?? []), entry]);
  }
  const sawFacts = [...of.entries()].filter(([name]) => name.startsWith("saw "))
    .flatMap(([, list]) => foldObject(list, sheet.machines.saw).facts);
  const tray = foldObject(of.get(`tray ${sheet.hole_id}/${sheet.tray}`) ?? [], sheet.machines.tray);
  const rows = sheet.rows.map((row) => {
    const machine = sheet.machines[sheet.control_rows.includes(row.kind) ? "control" : "bag"];
    const object = foldObject(of.get(`bag ${row.number}`) ?? [], machine);
    return { row, object, step: stepOf(row, object, sawFacts, sheet) };
  });
  const blocking = (one) => !RESTS.has(one.step) && (one.step !== "weigh" || sheet.settings.weigh_before_next);
  const current = rows.find((one) => one.step === "weigh" && one.object.state === "inserted" && blocking(one))
    ?? rows.find(blocking) ?? rows.find((one) => !RESTS.has(one.step)) ?? null;
  return { rows, tray, current, entries, saw: sawFacts };
}

// Steps after which a row asks for nothing more, for now or for good.
export const RESTS = new Set(["done", "void", "not cut"]);

function stepOf(row, object, sawFacts, sheet) {
  const { state } = object;
  if (state === "void" || state === "not cut") return state;
  const control = sheet.control_rows.includes(row.kind);
  if (state === "planned") return control ? "insert" : (cleaningLeft(row, sawFacts) ?? "cut");
  if (state === "cut") return "bag";
  const mustWeigh = !control || (sheet.settings.weigh_controls && row.expected_g !== null);
  const weighed = latest(object, "weighed");
  if ((state === "bagged" || state === "inserted") && mustWeigh && !weighed) return "weigh";
  if (weighed && !looksRight(row, weighed)) return "look";
  if (row.keeps && sheet.settings.kept_half === "each sample" && !latest(object, "kept_half_returned")) return "kept";
  return "done";
}

function cleaningLeft(row, sawFacts) {
  const did = (kind) => sawFacts.some((fact) => fact.event.kind === kind && fact.values.before === row.number);
  if (row.cleaning?.flush && !did("flush_cut")) return "flush";
  if (row.cleaning?.wash && !did("washed")) return "wash";
  return null;
}

// A mass outside its range is right once somebody who looked has said so.
function looksRight(row, weighed) {
  const lastSaid = weighed.corrections.at(-1);
  return massVerdict(row, weighed.values.mass_g) === "inside" || lastSaid?.values.verdict === "stands";
}

export function massVerdict(row, grams) {
  if (row.low_g === null || row.high_g === null) return "inside";
  return grams < row.low_g ? "light" : grams > row.high_g ? "heavy" : "inside";
}

// What may lie behind the mass: looked up in the bands that the yard worked out for this bag.
export function questions(row, grams) {
  const band = row.causes.find(([upTo]) => upTo === null || grams <= upTo);
  const missing = row.expected_g ? Math.abs((row.recovered_mm / 1000) * (grams / row.expected_g - 1)) : 0;
  return (band?.[1] ?? []).map((words) => words.replace("{m}", missing.toFixed(2)));
}

// The last act that counts on this tray and was not undone: what "undo" is about.
export function lastAct(state) {
  const facts = [...state.rows.flatMap((one) => one.object.facts), ...state.tray.facts, ...state.saw];
  const place = new Map(state.entries.map((entry, at) => [entry.event.event_id, at]));
  const undoable = facts.filter((fact) => fact.event.kind !== "photo_attached");
  return undoable.sort((a, b) => place.get(a.event.event_id) - place.get(b.event.event_id)).at(-1) ?? null;
}
