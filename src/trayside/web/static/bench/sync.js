// Sends what waits and fetches what others did. Every act keeps its id, so sending twice stores once; nothing leaves the
// queue without an answer to its own id.
import { postHeaders } from "/static/posting.js";
import * as queue from "./queue.js";

const MOST = 100;
const FIRST_WAIT_MS = 1000;
const LONGEST_WAIT_MS = 60_000;
const IDLE_MS = 5000;
const ANSWER_MS = 20_000;

export class Sync {
  // `onNews` is told after everything that changed; `tray` gives {hole, tray} or null.
  constructor({ tray, onNews }) {
    this.tray = tray;
    this.onNews = onNews;
    this.state = { online: navigator.onLine, signIn: false, clockOffMs: 0, revision: null, digest: null, cutLines: 0 };
    this.failures = 0;
    this.timer = null;
    this.running = null;
    this.again = false;
    addEventListener("online", () => this.kick());
    addEventListener("offline", () => this.tell({ online: false }));
    document.addEventListener("visibilitychange", () => { if (!document.hidden) this.kick(); });
  }

  // Now rather than later; a run that goes on is followed by another.
  kick() {
    clearTimeout(this.timer);
    if (this.running) {
      this.again = true;
      return this.running;
    }
    this.running = this.run().finally(() => {
      this.running = null;
      const wait = this.again ? 0 : this.failures ? this.waitMs() : IDLE_MS;
      this.again = false;
      this.timer = setTimeout(() => this.kick(), wait);
    });
    return this.running;
  }

  waitMs() {
    const wait = Math.min(LONGEST_WAIT_MS, FIRST_WAIT_MS * 2 ** (this.failures - 1));
    return wait * (0.75 + Math.random() / 2); // tablets that lost the network together do not come back together
  }

  async run() {
    const one = async () => {
      try {
        await this.sendPhotos();
        await this.sendActs();
        await this.fetchNews();
        this.failures = 0;
        await this.tell({ online: true, signIn: false });
      } catch (error) {
        if (error instanceof SignInNeeded) {
          this.failures = Math.max(this.failures, 4); // no hurry: somebody has to come
          await this.tell({ online: true, signIn: true });
        } else {
          this.failures += 1;
          await this.tell({ online: !(error instanceof TypeError || error.name === "TimeoutError") && navigator.onLine });
        }
      }
    };
    // Two pages of one tablet take turns.
    await (navigator.locks ? navigator.locks.request("trayside-bench-sync", one) : one());
  }

  async tell(changed) {
    Object.assign(this.state, changed);
    await this.onNews(this.state);
  }

  async sendActs() {
    let most = MOST;
    for (;;) {
      const acts = await queue.waitingActs(most);
      if (!acts.length) return;
      const answer = await this.ask("/bench/events", {
        method: "POST",
        headers: postHeaders({ "Content-Type": "application/json", Accept: "application/json" }),
        body: JSON.stringify({ events: acts.map((act) => act.event) }),
      });
      if (answer.status === 413 && most > 1) {
        most = Math.ceil(most / 4);
        continue;
      }
      if (!answer.ok) throw new Error(`the yard answered ${answer.status}`);
      const told = await answer.json();
      this.setClock(told.now);
      await queue.settle(told.answers);
      const answered = new Set(told.answers.map((one) => one.event_id));
      if (!acts.some((act) => answered.has(act.event.event_id))) throw new Error("the yard answered about other acts");
      await this.tell({ signIn: false });
    }
  }

  async sendPhotos() {
    for (;;) {
      const [photo] = await queue.waitingPhotos();
      if (!photo) return;
      const answer = await this.ask("/photos", {
        method: "POST",
        headers: postHeaders({ "Content-Type": photo.blob.type || "application/octet-stream", Accept: "application/json" }),
        body: photo.blob,
      }, 6 * ANSWER_MS);
      if (answer.ok && (await answer.json()).sha256 === photo.sha256) await queue.dropPhoto(photo.sha256);
      else if (answer.status === 413 || answer.status === 422) {
        const told = await answer.json().catch(() => ({}));
        await queue.settlePhoto(photo.sha256, "refused", `${told.what ?? answer.status}. ${told.remedy ?? ""}`);
      } else throw new Error(`the yard answered ${answer.status}`);
    }
  }

  async fetchNews() {
    const here = this.tray();
    if (!here) return;
    const key = queue.trayKey(here.hole, here.tray);
    const since = (await queue.setting(`since ${key}`)) ?? 0;
    const asked = new URLSearchParams({ hole: here.hole, tray: here.tray, since });
    const answer = await this.ask(`/bench/events?${asked}`, { headers: { Accept: "application/json" }, cache: "no-store" });
    if (!answer.ok) throw new Error(`the yard answered ${answer.status}`);
    const told = await answer.json();
    this.setClock(told.now);
    if (told.events.length) await queue.addKnown(key, told.events);
    if (told.saws) await queue.setSetting("saws", { saws: told.saws, at: told.now });
    await queue.setSetting(`since ${key}`, told.seq);
    await this.tell({ revision: told.newest.revision, digest: told.newest.digest, cutLines: told.newest.cut_lines ?? 0, revisionOf: key });
  }

  async ask(address, settings, waitMs = ANSWER_MS) {
    const answer = await fetch(address, { ...settings, redirect: "error", signal: AbortSignal.timeout(waitMs) });
    if (answer.status === 401 || answer.status === 403) throw new SignInNeeded();
    return answer;
  }

  setClock(now) {
    this.state.clockOffMs = Date.now() - Date.parse(now);
  }
}

export class SignInNeeded extends Error {}
