// What only this page holds: it is gone when the page is closed.

export class Here {
  constructor() {
    this.held = new Map();
    this.things = new Map();
    this.files = new Map();
  }

  addEntries(entries) {
    for (const entry of entries) if (!this.held.has(entry.id)) this.held.set(entry.id, entry);
  }

  putEntry(entry) {
    this.held.set(entry.id, entry);
  }

  removeEntry(id) {
    this.held.delete(id);
  }

  putThing(name, value) {
    this.things.set(name, value);
  }

  putFile(id, blob) {
    this.files.set(id, blob);
  }

  keepFilesOf(ids) {
    for (const id of this.files.keys()) if (!ids.has(id)) this.files.delete(id);
  }
}
