// What is kept on the device: settings and readings. Where the device refuses, both live
// on until the page is closed, and the caller is told.

const baseName = "shadowread", keptStore = "kept", valuesStore = "values";
let base = null; // a promise of the open database
const memory = { kept: new Map(), values: new Map() };

function opened() {
  base ??= new Promise((resolve, reject) => {
    const asked = indexedDB.open(baseName, 1);
    asked.onupgradeneeded = () => {
      asked.result.createObjectStore(keptStore, { keyPath: "id" });
      asked.result.createObjectStore(valuesStore);
    };
    asked.onsuccess = () => {
      asked.result.onversionchange = () => { asked.result.close(); base = null; };
      resolve(asked.result);
    };
    asked.onerror = () => reject(asked.error);
    asked.onblocked = () => reject(new Error("another window keeps it"));
  });
  base.catch(() => { base = null; });
  return base;
}

// done settles when the transaction does: a request that succeeded may still be undone.
async function within(store, mode, work) {
  const db = await opened();
  return new Promise((resolve, reject) => {
    const t = db.transaction(store, mode);
    const asked = work(t.objectStore(store));
    t.oncomplete = () => resolve(asked?.result);
    t.onabort = () => reject(t.error ?? new Error("not stored"));
    t.onerror = () => reject(t.error ?? new Error("not stored"));
  });
}

export async function getValue(name) {
  if (memory.values.has(name)) return memory.values.get(name);
  try {
    return await within(valuesStore, "readonly", (s) => s.get(name));
  } catch {
    return undefined;
  }
}

// setValue resolves to whether the device took it.
export async function setValue(name, value) {
  try {
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
