// The bench: opens a tray, shows the next act, takes it in, and leaves sending to sync.js.
import * as closing from "./closing.js";
import { draw } from "./draw.js";
import * as lists from "./lists.js";
import { newEvent, me } from "./person.js";
import { photoFrom } from "./photo.js";
import { hearMasses } from "./masses.js";
import * as queue from "./queue.js";
import { judgeTag, judgeTray } from "./judge.js";
import * as saws from "./saws.js";
import { cameraReads, listenForScans, scanWithCamera } from "./scan.js";
import * as screen from "./screen.js";
import * as signals from "./signals.js";
import { lastAct, latest, massVerdict, questions, trayState } from "./state.js";
import { Sync } from "./sync.js";
import { gramsTyped, massText, watchScale } from "./weigh.js";
import { say } from "./words.js";

const root = document.getElementById("bench");
const path = /^\/bench\/([^/]+)\/(\d+)$/.exec(location.pathname);
const here = path ? { hole: decodeURIComponent(path[1]).replaceAll("~", "/"), tray: Number(path[2]) } : null;
const key = here && queue.trayKey(here.hole, here.tray);

const ui = {
  view: "work", typed: "", reason: null, bags: null, tickets: null, counting: null, photoTold: "", camera: false,
  look: document.documentElement.dataset.look, sound: true, saw: "saw 1", picked: null,
};
let sheet = null;
let holes = [];
let offline = false;
let state = null;
let counts = { waiting: 0, trouble: 0 };
let troubles = [];
let badPhotos = [];
let scaleNow = null;
let usedLoad = 0;
let stopScale = null;
let stopCamera = null;
let knownSaws = null;
let busy = false;
let reads = 0;
let shown = 0;
let drawn = "";
let clockTold = false;
let revisedTold = null;
let cutLinesTold = 0;

const sync = new Sync({ tray: () => here, onNews: refresh });

const current = () => (ui.picked && state.rows.find((one) => one.row.number === ui.picked)) ?? state.current;

const addressOf = (hole, tray) => `/bench/${encodeURIComponent(hole.replaceAll("/", "~"))}/${tray}`;

// ---- acts ----

// One act: on the tablet's disk first, then the screen moves on. A second tap meanwhile does nothing.
async function act(kind, objectType, objectId, { values = {}, reason = null, corrects = null, photo = null, quiet = false } = {}) {
  if (busy) return null;
  busy = true;
  try {
    const event = newEvent(sheet, { kind, objectType, objectId, values, reason, corrects });
    await queue.addAct(event, key, photo);
    if (!quiet) signals.ok(`${say(`act.${kind}`)} ${objectType === "bag" ? objectId : ""}`);
    ui.typed = "";
    ui.picked = null;
    await refresh({ own: true });
    sync.kick();
    return event;
  } catch (error) {
    signals.stop({ what: say("full", { why: error?.message ?? String(error) }), remedy: say("full.do") });
    return null;
  } finally {
    busy = false;
  }
}

const bag = (kind, more = {}) => act(kind, "bag", current().row.number, more);
const side = (row) => (row.side === "right" || row.side === "left" ? row.side : "none");

async function saveMass(grams, read) {
  const { row } = current();
  const values = { mass_g: grams, read };
  if (read === "scale") values.scale = scaleNow.name;
  const event = await act("weighed", "bag", row.number, { values, quiet: massVerdict(row, grams) !== "inside" });
  if (event) lookAtMass(row, grams);
}

// Says at once what is odd about a mass; it is stored already, and stays.
function lookAtMass(row, grams) {
  const verdict = massVerdict(row, grams);
  if (verdict === "inside") return;
  const [unit, per] = [sheet.mass_unit, sheet.grams_per_unit];
  const off = massText(Math.abs(grams - row.expected_g), per);
  const weighed = latest(state.rows.find((one) => one.row === row || one.row.number === row.number).object, "weighed");
  signals.stop({
    what: [say(`mass.${verdict}`, { off, unit }), ...questions(row, grams)].join(" "),
    remedy: `${say("mass.should", { number: row.number, mass: massText(grams, per), unit, range: row.range })} ${say("mass.do")}`,
    choices: [
      [say("mass.again"), () => askReason(say("mass.why"), ["piece", "half", "scale", "typed"].map((one) => say(`mass.why.${one}`)),
        (reason) => { ui.reweigh = { id: weighed.event.event_id, number: row.number, reason }; ui.view = "work"; render(); })],
      [say("mass.right"), () => act("corrected", "bag", row.number, { values: { verdict: "stands" }, corrects: weighed.event.event_id, reason: say("mass.right.reason") })],
    ],
  });
}

async function restateMass(grams) {
  const { id, number, reason } = ui.reweigh;
  const { row } = state.rows.find((one) => one.row.number === number);
  ui.reweigh = null;
  const event = await act("corrected", "bag", number, { values: { verdict: "restated", mass_g: grams }, corrects: id, reason, quiet: massVerdict(row, grams) !== "inside" });
  if (event) lookAtMass(row, grams);
}

function askReason(title, choices, onReason) {
  ui.reason = { title, choices, onReason: (reason) => { ui.reason = null; onReason(reason); }, onCancel: () => { ui.reason = null; render(); } };
  render();
}

function undo() {
  const last = lastAct(state);
  if (!last) {
    signals.stop({ what: say("undo.none") });
    return;
  }
  const { event } = last;
  const choices = ["tapped", "wrong_bag", ...(event.kind === "weighed" ? ["wrong_mass"] : [])].map((one) => say(`undo.${one}`));
  askReason(say("undo.what", { what: say(`act.${event.kind}`), object: event.object_type === "bag" ? event.object_id : "" }), choices, (reason) => {
    ui.view = "work";
    act("corrected", event.object_type, event.object_id, { values: { verdict: "set_aside" }, corrects: event.event_id, reason });
  });
}

const on = {
  key: (name) => {
    if (ui.counting) {
      ui.typed = screen.typeKey(ui.typed, name, "0123456789", 3);
      if (name === "Enter") finishCount();
    } else if (ui.view === "type") {
      ui.typed = screen.typeKey(ui.typed, name, tagSigns(), 40);
    } else ui.typed = screen.typeKey(ui.typed, name, "0123456789.", 7);
    render();
  },
  stage: () => act("staged", "tray", key),
  flush: () => act("flush_cut", "saw", ui.saw, { values: { material: sheet.settings.flush_material, after: current().row.cleaning.after, before: current().row.number } }),
  wash: () => act("washed", "saw", ui.saw, { values: { after: current().row.cleaning.after, before: current().row.number } }),
  cut: () => bag("cut", { values: { method: current().row.method, side: side(current().row), saw: ui.saw } }),
  notCut: () => {
    const { row } = current();
    askReason(say("not_cut.why", { number: row.number }), sheet.settings.not_cut_reasons, (reason) => act("could_not_cut", "bag", row.number, { reason, values: { method: row.method, saw: ui.saw } }));
  },
  kept: () => bag("kept_half_returned", { values: { marks: current().row.re_mark.map((one) => one.what) } }),
  saveMass: () => {
    const grams = gramsTyped(ui.typed, sheet.grams_per_unit);
    if (grams !== null) (ui.reweigh ? restateMass(grams) : saveMass(grams, "typed"));
  },
  takeScale: () => {
    if (!scaleNow?.mass_g) return;
    if (scaleNow.load === usedLoad) {
      signals.stop({ what: say("weigh.same_load") });
      return;
    }
    usedLoad = scaleNow.load;
    if (ui.reweigh) restateMass(scaleNow.mass_g);
    else saveMass(scaleNow.mass_g, "scale");
  },
  lookAgain: () => {
    const { row, object } = current();
    lookAtMass(row, latest(object, "weighed").values.mass_g);
  },
  typeTag: () => { ui.view = "type"; ui.typed = tagStart(); render(); },
  camera: async () => {
    if (stopCamera) return endCamera();
    ui.camera = true;
    render();
    try {
      stopCamera = await scanWithCamera(document.getElementById("camera"), (code) => { endCamera(); scanned(code); });
    } catch {
      endCamera();
      signals.stop({ what: say("camera.none") });
    }
  },
  undo,
  choose: (one) => {
    const open = state.rows.find((row) => ["bag", "weigh", "look"].includes(row.step));
    if (open && open.row.number !== one.row.number && sheet.settings.weigh_before_next) {
      signals.stop({ what: say("finish_first", { number: open.row.number }) });
      return;
    }
    if (one.step === "done" || one.step === "void") return;
    ui.picked = one.row.number;
    ui.view = "work";
    render();
  },
  voidNumber: (one) => askReason(say("void.why", { number: one.row.number }), [], (reason) => act("voided", "bag", one.row.number, { reason })),
  look: () => {
    ui.look = ui.look === "night" ? "sun" : "night";
    document.documentElement.dataset.look = ui.look;
    localStorage.setItem("trayside-look", ui.look);
    render();
  },
  sound: () => { ui.sound = !ui.sound; signals.setSound(ui.sound); queue.setSetting("sound", ui.sound); render(); },
  saw: () => { ui.view = "saw"; render(); },
  person: () => {
    if (me.anyPeople) location.assign(`/sign-in?next=${encodeURIComponent(location.pathname)}`);
    else { ui.view = "who"; render(); }
  },
  leave: () => location.assign("/bench"),
  openTray: (tray) => location.assign(addressOf(here.hole, tray)),
  count: (name) => { ui.counting = name; ui.typed = ""; render(); },
  confirmHalves: async () => {
    if (busy) return;
    busy = true;
    const events = closing.halvesToConfirm(state).map((one) => newEvent(sheet, {
      kind: "kept_half_returned", objectType: "bag", objectId: one.row.number, values: { marks: one.row.re_mark.map((mark) => mark.what) },
    }));
    try {
      await queue.addActs(events, key);
      await refresh({ own: true });
      sync.kick();
    } catch (error) {
      signals.stop({ what: say("full", { why: error?.message ?? String(error) }), remedy: say("full.do") });
    } finally {
      busy = false;
    }
  },
  photo: async (file) => {
    try {
      const photo = await photoFrom(file, sheet.settings.photo_mb);
      const size = (photo.blob.size / 1e6).toFixed(1);
      ui.photoTold = photo.made ? say("close.photo.smaller", { size, was: (photo.wasBytes / 1e6).toFixed(1) }) : say("close.photo.kept", { size });
      await act("photo_attached", "tray", key, { photo, values: { sha256: photo.sha256, file: photo.name, view: "after_cut", bytes: photo.blob.size } });
    } catch (error) {
      signals.stop({ what: say("close.photo.not", { why: error.message }), remedy: say("close.photo.do") });
    }
  },
  closeTray: () => act("tray_closed", "tray", key, { values: { bags: ui.bags, tickets: ui.tickets } }),
};

function finishCount() {
  const [name, count, plan] = [ui.counting, Number(ui.typed), closing.planned(state)];
  if (ui.typed === "") return;
  ui[name] = count;
  ui.counting = null;
  ui.typed = "";
  render();
  if (count !== plan) signals.stop({ what: say("close.not_equal", { count, plan }), remedy: say("close.not_equal.do") });
}

// ---- scanning ----

function endCamera() {
  stopCamera?.();
  stopCamera = null;
  ui.camera = false;
  document.getElementById("camera")?.replaceChildren();
  render();
}

// What all numbers of the sheet begin with, so that only the rest is typed.
function tagStart() {
  const numbers = Object.keys(sheet.numbers);
  let start = numbers[0] ?? "";
  for (const number of numbers) while (!number.startsWith(start)) start = start.slice(0, -1);
  return start;
}

const tagSigns = () => [...new Set(["0123456789", ...Object.keys(sheet.numbers)].join(""))].sort();

function scanned(code) {
  if (!sheet || !state || signals.stopped() || ui.reason) return;
  if (state.tray.state === "waiting") {
    const judged = judgeTray(code, sheet);
    if (judged.verdict === "ok") act("staged", "tray", key, { values: { tag: code } });
    else if (judged.verdict === "sheet") signals.ok(say("revision", { revision: sheet.revision, digest: sheet.digest.slice(0, 12).toUpperCase() }));
    else stopFor(judged);
    return;
  }
  const at = current();
  if (!at || ui.counting) return;
  if (at.step !== "bag" && at.step !== "insert") {
    const todo = { cut: "cut", wash: "wash", flush: "flush", weigh: "weigh", kept: "kept", look: "mass.do" }[at.step] ?? "cut";
    signals.stop({ what: say("stop.not_now", { code, number: at.row.number }), remedy: say("stop.not_now.do", { todo: say(todo) }) });
    return;
  }
  const judged = judgeTag(code, { sheet, rows: state.rows, expected: at.row, holes });
  if (judged.verdict !== "ok") return stopFor(judged);
  ui.view = "work";
  if (at.step === "bag") act("bagged", "bag", at.row.number, { values: { tag: at.row.number, side: side(at.row) } });
  else act("inserted", "bag", at.row.number, { values: { material: at.row.material } });
}

function stopFor({ key: name, amounts }) {
  signals.stop({ what: say(`stop.${name}`, amounts), remedy: say(`stop.${name}.do`, amounts) });
}

// ---- drawing ----

// Reads everything anew. While an act is being written only its own refresh draws: a screen that moved on must take the
// next tap. What was read earlier never replaces what was read later.
async function refresh({ own = false } = {}) {
  reads += 1;
  const turn = reads;
  const read = [await queue.counts(), await queue.troubles(), await queue.refusedPhotos(),
    sheet && trayState(sheet, await queue.knownOf(key), await queue.actsOf(key)), await queue.setting("saws")];
  if (turn < shown || (busy && !own)) return;
  shown = turn;
  [counts, troubles, badPhotos, state, knownSaws] = read;
  render();
  tellOnce();
}

// The page is drawn anew only when something on it changed: a button must not vanish under a finger.
function render() {
  const status = document.getElementById("status");
  const words = JSON.stringify([sync.state.online, sync.state.signIn, counts]);
  if (status && status.dataset.words !== words) status.replaceChildren(...screen.statusOf(sync.state, counts));
  if (status) status.dataset.words = words;
  askMasses();
  const { reason, ...plain } = ui;
  const looks = JSON.stringify([plain, reason?.title, me, sheet?.revision, holes.length, offline, troubles.length, badPhotos.length,
    state && [state.tray.state, state.tray.facts.length, state.rows.map((one) => [one.step, one.object.state])],
    scaleNow && [scaleNow.state, scaleNow.mass_g], sawStops(), ui.view === "saw" && knownSaws, sync.state.online]);
  if (looks === drawn) return;
  drawn = looks;
  const half = [...root.querySelectorAll("input[id]:not([type=file])")].map((input) => [input.id, input.value, input.getAttribute("aria-label")]);
  const focused = document.activeElement?.id;
  root.replaceChildren(...view());
  for (const [id, value, label] of half) { // what is half typed stays
    const input = document.getElementById(id);
    if (!input || input.getAttribute("aria-label") !== label) continue;
    if (value) input.value = value;
    if (id === focused) input.focus();
  }
  const fresh = document.getElementById("status");
  if (fresh) fresh.dataset.words = words;
  watchScaleWhenWeighing();
}

// What stands against running the chosen saw for the row at hand.
function sawStops() {
  const at = state && current();
  return at ? saws.stopsFor({ known: knownSaws, saw: ui.saw, row: at.row, step: at.step }) : [];
}

// All bags of the tray are done and the yard has them: now it can say what their masses say together.
function askMasses() {
  if (!sheet || !state || state.tray.state !== "staged" || current() || counts.waiting || !sync.state.online) return;
  hearMasses({ ...here, about: `${key} ${state.entries.length}`, onTold: (found) => { ui.masses = found; render(); } });
}

function view() {
  const status = screen.statusOf(sync.state, counts);
  if (!here) {
    return [screen.head({ title: say("title"), progress: "", status }),
      lists.chooser({ holes, offline, onOpen: (hole, tray) => location.assign(addressOf(hole, tray)) })];
  }
  if (!sheet || !state) return missing(status);
  const all = state.rows.filter((one) => one.step !== "void").length;
  const done = state.rows.filter((one) => one.step === "done").length;
  const title = say("head", { hole: sheet.hole_id, tray: sheet.tray });
  const inMenu = ui.view === "menu";
  const header = screen.head({
    title, status, progress: say("head.done", { done, all, revision: sheet.revision }), menuOpen: inMenu,
    onMenu: () => { ui.view = inMenu ? "work" : "menu"; render(); },
  });
  const at = current();
  const model = { sheet, state, ui, on, who: me, troubles, badPhotos, current: at, scaleNow, scaleWords: scaleNow?.words ?? "" };
  const back = () => { ui.view = "work"; ui.typed = ""; render(); };
  if (!me.mayRecord) return [header, signIn()];
  if (!me.person || ui.view === "who") {
    return [header, lists.askText({ title: say("who"), value: me.person, go: say("who.go"), onCancel: me.person ? back : null,
      onText: async (name) => { await me.setTyped(name); back(); } })];
  }
  if (ui.reason) return [header, lists.reasons(ui.reason)];
  if (ui.view === "saw" && knownSaws?.saws?.length) return [header, saws.chooser({ known: knownSaws, chosen: ui.saw, onChoose: setSaw, onCancel: back })];
  if (ui.view === "saw") return [header, lists.askText({ title: say("saw.what"), value: ui.saw, onCancel: back, onText: setSaw })];
  if (inMenu) return [header, lists.menu(model)];
  if (state.tray.state === "waiting") return [header, ...stage()];
  if (ui.counting) return [header, closing.countPad({ name: ui.counting, typed: ui.typed, on }), countFoot()];
  if (["closed", "racked"].includes(state.tray.state)) return [header, ...closing.closed({ ...model, nextTray: sheet.trays.find((tray) => tray > sheet.tray) })];
  if (ui.reweigh) {
    const again = { ...model, current: { ...state.rows.find((one) => one.row.number === ui.reweigh.number), step: "weigh" } };
    return [header, screen.now(again), screen.foot(again)];
  }
  if (!at) return [header, closing.closing(model), closing.closingFoot(model)];
  if (ui.view === "type" && ["bag", "insert"].includes(at.step)) return [header, ...typeTag(back)];
  const stops = sawStops();
  if (stops.length) {
    const { online } = sync.state;
    return [header, draw("main", { class: "work" }, saws.stopPanel({ stops, saw: ui.saw, known: knownSaws, online }), screen.next(model)),
      saws.stopFoot({ step: at.step, onChoose: on.saw, onUndo: on.undo, onNotCut: on.notCut })];
  }
  return [header, draw("main", { class: "work" }, screen.now(model), screen.next(model)), screen.foot(model)];
}

function missing(status) {
  return [screen.head({ title: say("head", { hole: here.hole, tray: here.tray }), progress: "", status }),
    draw("section", { class: "page" }, draw("p", { class: "do" }, offline ? (offline === true ? say("missing") : offline) : say("loading")),
      offline ? draw("p", { class: "how" }, say("missing.do")) : null,
      offline ? screen.button(say("again"), () => location.reload(), { main: true, id: "main" }) : null,
      screen.button(say("back"), on.leave, { id: "leave" }))];
}

function signIn() {
  return draw("section", { class: "page" },
    draw("p", { class: "do" }, me.person ? say("who.may_not", { name: me.person }) : say("who.sign")),
    screen.button(say("who.sign.go"), on.person, { main: true, id: "main" }));
}

function stage() {
  return [
    draw("main", { class: "work" }, draw("section", { class: "now step-stage" },
      draw("p", { class: "do" }, say("stage")),
      draw("p", { class: "number" }, `${sheet.hole_id} / ${sheet.tray}`),
      draw("p", { class: "range" }, say("revision", { revision: sheet.revision, digest: sheet.digest.slice(0, 12).toUpperCase() })),
      draw("p", { class: "how" }, say("stage.how")))),
    draw("footer", { class: "foot" }, screen.button(say("back"), on.leave, { kind: "beside" }), screen.button(say("stage.go"), on.stage, { main: true, id: "main" })),
  ];
}

function typeTag(back) {
  const start = tagStart();
  const extra = [...new Set(Object.keys(sheet.numbers).flatMap((number) => [...number.slice(start.length)]))].filter((sign) => !/\d/.test(sign)).sort();
  return [
    draw("section", { class: "page" }, draw("p", { class: "do" }, say("type_tag")),
      screen.pad({ text: ui.typed, keys: [..."7894561230", ...extra], onKey: on.key, label: say("type_tag") })),
    draw("footer", { class: "foot" }, screen.button(say("cancel"), back, { kind: "beside" }),
      screen.button(say("save"), () => { const code = ui.typed; ui.typed = ""; ui.view = "work"; render(); scanned(code); }, { main: true, id: "main", disabled: ui.typed.length <= start.length })),
  ];
}

function countFoot() {
  return draw("footer", { class: "foot" },
    screen.button(say("cancel"), () => { ui.counting = null; ui.typed = ""; render(); }, { kind: "beside" }),
    screen.button(say("save"), finishCount, { main: true, id: "main", disabled: ui.typed === "" }));
}

async function setSaw(name) {
  if (!/^[A-Za-z0-9][A-Za-z0-9 ._/+-]{0,79}$/.test(name)) return;
  ui.saw = name;
  await queue.setSetting("saw", name);
  ui.view = "work";
  render();
}

function watchScaleWhenWeighing() {
  const weighing = sheet?.settings.has_scale && (ui.reweigh || (state && current()?.step === "weigh"));
  if (weighing && !stopScale) stopScale = watchScale((now) => { scaleNow = now; render(); });
  if (!weighing && stopScale) {
    stopScale();
    stopScale = null;
    scaleNow = null;
  }
}

// What must be said once: the sheet was revised, the clock is wrong.
function tellOnce() {
  const { revision, revisionOf, cutLines, clockOffMs } = sync.state;
  if (sheet && revisionOf === key && revision > sheet.revision && revisedTold !== revision && !signals.stopped()) {
    revisedTold = revision;
    signals.stop({
      what: say("stop.revised", { hole: sheet.hole_id, revision: sheet.revision, newest: revision }),
      remedy: say("stop.revised.do"),
      choices: [[say("stop.revised.go", { newest: revision }), async () => {
        await loadSheet({ again: true });
        if (sheet.revision < revision) revisedTold = null; // it did not come: say it again with the next news
      }]],
    });
  } else if (sheet && revisionOf === key && cutLines > (sheet.newest?.cut_lines ?? 0) && cutLinesTold !== cutLines && !signals.stopped()) {
    cutLinesTold = cutLines;
    signals.stop({
      what: say("stop.cut_line", { hole: sheet.hole_id }),
      remedy: say("stop.cut_line.do"),
      choices: [[say("stop.cut_line.go"), async () => {
        await loadSheet({ again: true });
        if ((sheet.newest?.cut_lines ?? 0) < cutLines) cutLinesTold = 0; // it did not come: say it again with the next news
      }]],
    });
  } else if (sheet && !clockTold && !signals.stopped() && Math.abs(clockOffMs) > sheet.settings.clock_off_min * 60_000) {
    clockTold = true;
    signals.stop({ what: say("clock", { off: duration(Math.abs(clockOffMs)), side: say(clockOffMs > 0 ? "clock.ahead" : "clock.behind") }) });
  }
}

function duration(ms) {
  const minutes = Math.round(ms / 60_000);
  return minutes < 90 ? `${minutes} min` : `${(minutes / 60).toFixed(1)} h`;
}

// ---- opening ----

// The newest sheet when the yard answers, else the one on the tablet.
async function loadSheet({ again = false } = {}) {
  sheet ??= await queue.loadSheet(key);
  if (sheet && !again) await refresh();
  try {
    const answer = await fetch(`${addressOf(here.hole, here.tray)}.json`, { headers: { Accept: "application/json" }, cache: "no-store", redirect: "error", signal: AbortSignal.timeout(15_000) });
    const told = await answer.json();
    if (answer.ok) {
      await queue.saveSheet(told);
      await queue.setSetting(`since ${key}`, told.seq);
      await queue.setSetting("saws", { saws: told.saws ?? [], at: told.now });
      sheet = await queue.loadSheet(key);
      Object.assign(sync.state, { revision: told.newest.revision, cutLines: told.newest.cut_lines ?? 0, revisionOf: key });
      sync.setClock(told.now);
    } else {
      offline = `${told.what}. ${told.remedy}`;
      if (again) signals.stop({ what: `${told.what}.`, remedy: told.remedy, choices: [[say("back"), on.leave]] });
    }
  } catch {
    if (!sheet) offline = true;
  }
  await refresh();
}

async function loadHoles() {
  holes = (await queue.setting("holes")) ?? [];
  try {
    const answer = await fetch("/bench/sheets.json", { headers: { Accept: "application/json" }, cache: "no-store", redirect: "error", signal: AbortSignal.timeout(10_000) });
    if (answer.ok) {
      holes = (await answer.json()).holes;
      await queue.setSetting("holes", holes);
    }
  } catch {
    if (!here) {
      offline = true;
      const kept = await queue.keptSheets();
      holes = [...new Set(kept.map((one) => one.hole_id))].sort().map((hole) => {
        const of = kept.filter((one) => one.hole_id === hole);
        return { hole_id: hole, revision: Math.max(...of.map((one) => one.revision)), trays: of.map((one) => [one.tray, null]).sort((a, b) => a[0] - b[0]), ranges: holes.find((one) => one.hole_id === hole)?.ranges ?? [] };
      });
    }
  }
}

async function begin() {
  ui.sound = (await queue.setting("sound")) ?? true;
  ui.saw = (await queue.setting("saw")) ?? ui.saw;
  signals.setSound(ui.sound);
  await me.load();
  listenForScans(document, { onCode: scanned, onKey: typed }); // before the sheet: it is drawn while the yard is still asked
  if (here) {
    await loadSheet();
    loadHoles();
  } else {
    await loadHoles();
  }
  sync.kick();
  render();
  await me.ask();
  render();
  navigator.storage?.persist?.();
}

// A key typed by a person goes where the pad on the screen would put it.
function typed(name) {
  const pads = ui.counting || ui.view === "type" || ui.reweigh || (state && current()?.step === "weigh");
  if (pads && !signals.stopped() && !ui.reason) on.key(name);
}

if ("serviceWorker" in navigator) navigator.serviceWorker.register("/bench/worker.js", { scope: "/bench" });
if (cameraReads()) document.documentElement.classList.add("camera");
begin();
