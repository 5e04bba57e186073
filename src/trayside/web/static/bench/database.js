// The tablet's own store. A piece of work is one transaction: all of it is on the disk, or nothing.
const NAME = "trayside-bench";
const VERSION = 1;
let opened = null;

function open() {
  opened ??= new Promise((resolve, reject) => {
    const asking = indexedDB.open(NAME, VERSION);
    asking.onupgradeneeded = () => {
      const database = asking.result;
      const acts = database.createObjectStore("acts", { keyPath: "place", autoIncrement: true });
      acts.createIndex("event_id", "event.event_id", { unique: true });
      acts.createIndex("state", "state");
      acts.createIndex("tray", "tray");
      database.createObjectStore("known", { keyPath: "event.event_id" }).createIndex("tray", "tray");
      database.createObjectStore("sheets", { keyPath: "tray" });
      database.createObjectStore("photos", { keyPath: "sha256" }).createIndex("state", "state");
      database.createObjectStore("settings", { keyPath: "name" });
    };
    asking.onsuccess = () => {
      asking.result.onversionchange = () => asking.result.close();
      asking.result.onclose = () => { opened = null; };
      resolve(asking.result);
    };
    asking.onerror = () => { opened = null; reject(asking.error); };
  });
  return opened;
}

// `work` gets the stores by name and may return a request; its result comes once everything is on the disk.
export async function inOne(stores, mode, work) {
  const database = await open();
  return new Promise((resolve, reject) => {
    const transaction = database.transaction(stores, mode, { durability: mode === "readwrite" ? "strict" : "default" });
    let asked;
    transaction.oncomplete = () => resolve(asked?.result);
    transaction.onabort = () => reject(transaction.error ?? new Error("the tablet stopped writing"));
    asked = work(Object.fromEntries(stores.map((name) => [name, transaction.objectStore(name)])));
  });
}
