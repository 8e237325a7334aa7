// What this phone keeps in the browser's own database.
// "strict" asks the browser to have it on the disk before it says so: a phone may die.

const NAME = "viaduct-shift-entry";
const VERSION = 2;

// Returns null where the browser keeps nothing (some private windows).
export async function openDisk() {
  try {
    return new Disk(await opened());
  } catch (refused) {
    if (!(refused instanceof DOMException) && !(refused instanceof TypeError)) throw refused;
    return null;
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
    request.onsuccess = () => {
      request.result.onversionchange = () => request.result.close();
      resolve(request.result);
    };
    request.onerror = () => reject(request.error);
  });
}

class Disk {
  constructor(database) {
    this.database = database;
  }

  entries() {
    return this.run("entries", "readonly", (store) => store.getAll());
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

  removeThing(name) {
    return this.run("things", "readwrite", (store) => store.delete(name));
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

  // Browsers let go of a database while a page sleeps in the background: then it is opened again.
  async run(name, mode, work) {
    try {
      return await this.once(name, mode, work);
    } catch (refused) {
      if (refused.name !== "InvalidStateError") throw refused;
      this.database = await opened();
      return this.once(name, mode, work);
    }
  }

  once(name, mode, work) {
    return new Promise((resolve, reject) => {
      const transaction = this.database.transaction(name, mode, { durability: "strict" });
      const request = work(transaction.objectStore(name));
      transaction.oncomplete = () => resolve(request?.result);
      transaction.onabort = () => reject(transaction.error || new DOMException("", "AbortError"));
    });
  }
}
