// What this phone keeps: entries until the log has confirmed them, what is filled in, and the
// last sheet.
// "strict" asks the browser to have it on the disk before it says so: a phone may die.

const NAME = "viaduct-shift-entry";
const VERSION = 2;

export async function openKept() {
  try {
    const database = await opened();
    return new Kept(database);
  } catch (refused) {
    if (!(refused instanceof DOMException) && !(refused instanceof TypeError)) throw refused;
    return new InMemory();
  }
}

function opened() {
  return new Promise((resolve, reject) => {
    const request = indexedDB.open(NAME, VERSION);
    request.onupgradeneeded = () => {
      const made = request.result.objectStoreNames;
      if (!made.contains("entries")) request.result.createObjectStore("entries", { keyPath: "id" });
      for (const name of ["things", "files"]) {
        if (!made.contains(name)) request.result.createObjectStore(name);
      }
    };
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}

class Kept {
  constructor(database) {
    this.database = database;
    this.lasts = true;
    database.onversionchange = () => database.close();
  }

  entries() {
    return this.run("entries", "readonly", (store) => store.getAll()).then(inOrder);
  }

  // All of them or none; one that is there already (a double tap) is left alone.
  addEntries(entries) {
    return this.run("entries", "readwrite", (store) => {
      for (const entry of entries) {
        store.get(entry.id).onsuccess = (found) => found.target.result || store.put(entry);
      }
    });
  }

  putEntry(entry) {
    return this.run("entries", "readwrite", (store) => store.put(entry));
  }

  removeEntry(id) {
    return this.run("entries", "readwrite", (store) => store.delete(id));
  }

  thing(name) {
    return this.run("things", "readonly", (store) => store.get(name));
  }

  putThing(name, value) {
    return this.run("things", "readwrite", (store) => {
      store.put(value, name);
      store.transaction.commit(); // so that it is written also where the page goes away now
    });
  }

  file(id) {
    return this.run("files", "readonly", (store) => store.get(id));
  }

  putFile(id, blob) {
    return this.run("files", "readwrite", (store) => store.put(blob, id));
  }

  // Files that neither a draft nor an entry names any more only take room.
  keepFilesOf(ids) {
    return this.run("files", "readwrite", (store) => {
      store.openKeyCursor().onsuccess = ({ target: { result: at } }) => {
        if (!at) return;
        if (!ids.has(at.key)) store.delete(at.key);
        at.continue();
      };
    });
  }

  run(name, mode, work) {
    return new Promise((resolve, reject) => {
      const transaction = this.database.transaction(name, mode, { durability: "strict" });
      const request = work(transaction.objectStore(name));
      transaction.oncomplete = () => resolve(request?.result);
      transaction.onabort = transaction.onerror = () => reject(transaction.error);
    });
  }
}

// Stands in where the browser keeps nothing (some private windows); the page says so.
class InMemory {
  constructor() {
    this.lasts = false;
    this.held = new Map();
    this.things = new Map();
    this.files = new Map();
  }

  async entries() {
    return inOrder([...this.held.values()]);
  }

  async addEntries(entries) {
    for (const entry of entries) if (!this.held.has(entry.id)) this.held.set(entry.id, entry);
  }

  async putEntry(entry) {
    this.held.set(entry.id, entry);
  }

  async removeEntry(id) {
    this.held.delete(id);
  }

  async thing(name) {
    return this.things.get(name);
  }

  async putThing(name, value) {
    this.things.set(name, value);
  }

  async file(id) {
    return this.files.get(id);
  }

  async putFile(id, blob) {
    this.files.set(id, blob);
  }

  async keepFilesOf(ids) {
    for (const id of this.files.keys()) if (!ids.has(id)) this.files.delete(id);
  }
}

function inOrder(entries) {
  return entries.sort((a, b) => a.number - b.number);
}
