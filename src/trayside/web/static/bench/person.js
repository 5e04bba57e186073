// Who works at this tablet, and the events they sign.
import { uuid7 } from "./ids.js";
import * as queue from "./queue.js";

export const me = {
  anyPeople: false, person: "", mayRecord: true, device: "", software: "trayside",

  // What the tablet knew last, for work without network.
  async load() {
    Object.assign(this, (await queue.setting("me")) ?? {});
    if (!this.device) this.device = `tablet ${uuid7().slice(-4)}`;
    await this.keep();
  },

  // What the yard says now; without an answer what is known stays.
  async ask() {
    try {
      const answer = await fetch("/bench/who.json", { headers: { Accept: "application/json" }, cache: "no-store", redirect: "error", signal: AbortSignal.timeout(10_000) });
      if (!answer.ok) return;
      const told = await answer.json();
      this.anyPeople = told.any_people;
      this.mayRecord = !told.any_people || told.may_record;
      if (told.any_people) this.person = told.person;
      if (told.device) this.device = told.device;
      this.software = told.software;
      await this.keep();
    } catch { /* no network */ }
  },

  async setTyped(name) {
    this.person = name.slice(0, 80);
    await this.keep();
  },

  keep() {
    const { anyPeople, person, mayRecord, device, software } = this;
    return queue.setSetting("me", { anyPeople, person, mayRecord, device, software });
  },
};

// One act as the ledger wants it; the tablet's clock and its offset stand in it as they are.
export function newEvent(sheet, { kind, objectType, objectId, values, reason = null, corrects = null }) {
  const now = new Date();
  return {
    event_id: uuid7(now.getTime()), kind, object_type: objectType, object_id: objectId, person: me.person, device: me.device,
    captured_at: now.toISOString(), utc_offset_min: -now.getTimezoneOffset(), software: me.software,
    hole_id: sheet.hole_id, tray: sheet.tray, sheet_id: sheet.sheet_id, revision: sheet.revision, values, reason, corrects,
  };
}
