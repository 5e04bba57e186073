// Acts of this tablet, in the order they were done, until the yard has them and afterwards. Nothing is ever removed
// that the yard did not say it keeps.
import { inOne } from "./database.js";

export const trayKey = (hole, tray) => `${hole}/${tray}`;

// The act is on the disk when this resolves; only then may the screen move on. A photograph goes with its act or not at all.
export function addAct(event, tray, photo = null) {
  const stores = photo ? ["acts", "photos"] : ["acts"];
  return inOne(stores, "readwrite", ({ acts, photos }) => {
    if (photo) photos.put({ sha256: photo.sha256, blob: photo.blob, state: "waiting" });
    return acts.add({ event, tray, state: "waiting", answer: null });
  });
}

// Several acts that belong together, such as all kept halves of a tray.
export function addActs(events, tray) {
  return inOne(["acts"], "readwrite", ({ acts }) => {
    for (const event of events) acts.add({ event, tray, state: "waiting", answer: null });
  });
}

export const waitingActs = (count) =>
  inOne(["acts"], "readonly", ({ acts }) => acts.index("state").getAll("waiting", count));

export const actsOf = (tray) => inOne(["acts"], "readonly", ({ acts }) => acts.index("tray").getAll(tray));

export const troubles = async () => {
  const found = [];
  for (const state of ["conflict", "refused"]) {
    found.push(...(await inOne(["acts"], "readonly", ({ acts }) => acts.index("state").getAll(state))));
  }
  return found.sort((a, b) => a.place - b.place);
};

export async function counts() {
  const count = (name, state) => inOne([name], "readonly", (stores) => stores[name].index("state").count(state));
  const [waiting, conflict, refused, photos, bad] = await Promise.all([
    count("acts", "waiting"), count("acts", "conflict"), count("acts", "refused"),
    count("photos", "waiting"), count("photos", "refused"),
  ]);
  return { waiting: waiting + photos, trouble: conflict + refused + bad };
}

const STATE_OF = { stored: "kept", "already stored": "kept", conflict: "conflict", refused: "refused" };

// Put the yard's answers to the acts they belong to, by id. An act without an answer goes on waiting.
export function settle(answers) {
  return inOne(["acts"], "readwrite", ({ acts }) => {
    for (const answer of answers) {
      if (!(answer.status in STATE_OF) || typeof answer.event_id !== "string") continue;
      const asked = acts.index("event_id").get(answer.event_id);
      asked.onsuccess = () => {
        const act = asked.result;
        if (!act || act.state !== "waiting") return;
        const state = answer.standing === "conflict" ? "conflict" : STATE_OF[answer.status];
        acts.put({ ...act, state, answer });
      };
    }
  });
}

export const addKnown = (tray, stored) =>
  inOne(["known"], "readwrite", ({ known }) => {
    for (const one of stored) known.put({ ...one, tray });
  });

export const knownOf = (tray) => inOne(["known"], "readonly", ({ known }) => known.index("tray").getAll(tray));

export const saveSheet = (sheet) =>
  inOne(["sheets", "known"], "readwrite", ({ sheets, known }) => {
    const tray = trayKey(sheet.hole_id, sheet.tray);
    const { events, ...paper } = sheet;
    sheets.put({ tray, paper });
    for (const one of events) known.put({ ...one, tray });
  });

export const loadSheet = async (tray) =>
  (await inOne(["sheets"], "readonly", ({ sheets }) => sheets.get(tray)))?.paper ?? null;

export const keptSheets = async () =>
  (await inOne(["sheets"], "readonly", ({ sheets }) => sheets.getAll())).map((one) => one.paper);

export const waitingPhotos = () =>
  inOne(["photos"], "readonly", ({ photos }) => photos.index("state").getAll("waiting", 1));

export const settlePhoto = (sha256, state, why = "") =>
  inOne(["photos"], "readwrite", ({ photos }) => {
    const asked = photos.get(sha256);
    asked.onsuccess = () => photos.put({ ...asked.result, state, why });
  });

// Once the yard has a photograph, the tablet needs its room again.
export const dropPhoto = (sha256) => inOne(["photos"], "readwrite", ({ photos }) => photos.delete(sha256));

export const refusedPhotos = () =>
  inOne(["photos"], "readonly", ({ photos }) => photos.index("state").getAll("refused"));

export const setting = async (name) =>
  (await inOne(["settings"], "readonly", ({ settings }) => settings.get(name)))?.value ?? null;

export const setSetting = (name, value) =>
  inOne(["settings"], "readwrite", ({ settings }) => settings.put({ name, value }));
