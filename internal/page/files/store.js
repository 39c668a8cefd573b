// What is kept on the device: settings and readings. Where the device refuses, both live
// on until the page is closed, and the caller is told.

import { inTime } from "./wait.js";

const baseName = "shadowread", keptStore = "kept", valuesStore = "values";
const opensWithin = 10; // s
const unanswered = "the device's store does not answer";
let base = null; // a promise of the open database
let held = null; // the database, while it is open
// It did not open in time: what was set before is not known in this page, and not written over.
let late = false;
const memory = { kept: new Map(), values: new Map() };

export const storeIsLate = () => late;

function lose(db) {
  if (held !== db) return;
  base = held = null;
}

function open() {
  return new Promise((resolve, reject) => {
    const asked = indexedDB.open(baseName, 1);
    asked.onupgradeneeded = () => {
      asked.result.createObjectStore(keptStore, { keyPath: "id" });
      asked.result.createObjectStore(valuesStore);
    };
    asked.onsuccess = () => {
      const db = held = asked.result;
      db.onversionchange = () => {
        db.close();
        lose(db);
      };
      db.onclose = () => lose(db);
      resolve(db);
    };
    asked.onerror = () => reject(asked.error);
    asked.onblocked = () => reject(new Error("another window keeps it"));
  });
}

async function opened() {
  if (held) return held;
  const asked = base ??= open();
  asked.catch(() => { if (base === asked) base = null; });
  if (late) throw new Error(unanswered);
  try {
    return await inTime(opensWithin, asked, unanswered);
  } catch (error) {
    if (error.message === unanswered && !late) {
      late = true;
      asked.then(keepHeld, () => {});
    }
    throw error;
  }
}

// begun opens a transaction. A browser may close the base by itself, and not tell: then it is
// opened once more.
async function begun(store, mode) {
  const db = await opened();
  try {
    return db.transaction(store, mode);
  } catch {
    lose(db);
    return (await opened()).transaction(store, mode);
  }
}

// within settles when the transaction does: a request that succeeded may still be undone.
async function within(store, mode, work) {
  const t = await begun(store, mode);
  return new Promise((resolve, reject) => {
    const asked = work(t.objectStore(store));
    t.oncomplete = () => resolve(asked?.result);
    t.onabort = () => reject(t.error ?? new Error("not stored"));
    t.onerror = () => reject(t.error ?? new Error("not stored"));
  });
}

export async function getValue(name) {
  if (memory.values.has(name) || late) return memory.values.get(name);
  try {
    return await within(valuesStore, "readonly", (s) => s.get(name));
  } catch {
    return undefined;
  }
}

// setValue resolves to whether the device took it.
export async function setValue(name, value) {
  try {
    if (late) throw new Error(unanswered);
    await within(valuesStore, "readwrite", (s) => s.put(value, name));
    memory.values.delete(name);
    return true;
  } catch {
    memory.values.set(name, value);
    return false;
  }
}

export async function keep(item) {
  try {
    await within(keptStore, "readwrite", (s) => s.put(item));
    memory.kept.delete(item.id);
  } catch {
    memory.kept.set(item.id, item);
    return false;
  }
  await keepHeld();
  return true;
}

// keepHeld stores what the device had no room for before.
async function keepHeld() {
  for (const item of memory.kept.values()) {
    try {
      await within(keptStore, "readwrite", (s) => s.put(item));
    } catch {
      return;
    }
    if (memory.kept.get(item.id) === item) memory.kept.delete(item.id);
  }
}

// allKept is in the order of keeping.
export async function allKept() {
  let items = [];
  try {
    items = await within(keptStore, "readonly", (s) => s.getAll());
  } catch { /* what is in memory is left */ }
  const byItsId = new Map(items.map((item) => [item.id, item]));
  for (const [id, item] of memory.kept) byItsId.set(id, item);
  return [...byItsId.values()].sort((a, b) => a.kept_ms - b.kept_ms);
}

export const keptInMemory = () => memory.kept.size;

export async function remove(ids) {
  for (const id of ids) memory.kept.delete(id);
  await within(keptStore, "readwrite", (s) => { for (const id of ids) s.delete(id); });
}

// persist asks the device not to empty the store by itself; null where it cannot be asked.
export async function persist() {
  try {
    if (!navigator.storage?.persist) return null;
    return (await navigator.storage.persisted()) || (await navigator.storage.persist());
  } catch {
    return null;
  }
}
