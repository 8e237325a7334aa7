// What this phone keeps: entries until the log has confirmed them, what is filled in, and the
// last sheet. What there is no room for on the phone the page holds, until it is sent.

import { Here } from "./kept_here.js";
import { openDisk } from "./kept_on_disk.js";

export async function openKept() {
  return new Kept(await openDisk());
}

class Kept {
  constructor(disk) {
    this.disk = disk;
    this.here = new Here();
  }

  // False where the browser keeps nothing at all; the page says so.
  get lasts() {
    return this.disk !== null;
  }

  // Entries that are gone when the page is closed.
  get onlyHere() {
    return [...this.here.held.values()].filter((entry) => entry.state !== "sent");
  }

  async entries() {
    const onDisk = (await this.disk?.entries()) || [];
    const all = new Map([...onDisk.map((entry) => [entry.id, entry]), ...this.here.held]);
    return [...all.values()].sort((a, b) => a.number - b.number);
  }

  // Brings to the phone's disk what there was no room for.
  async tryAgain() {
    if (this.lasts) for (const entry of [...this.here.held.values()]) await this.putEntry(entry);
  }

  async thing(name) {
    return this.here.things.get(name) ?? this.disk?.thing(name);
  }

  async file(id) {
    return this.here.files.get(id) ?? this.disk?.file(id);
  }

  addEntries(entries) {
    return this.write("addEntries", [entries]);
  }

  putEntry(entry) {
    return this.write("putEntry", [entry], () => this.here.held.delete(entry.id));
  }

  removeEntry(id) {
    this.here.removeEntry(id);
    return this.write("removeEntry", [id]);
  }

  putThing(name, value) {
    return this.write("putThing", [name, value], () => this.here.things.delete(name));
  }

  // Takes it off the phone; the page holds what it has.
  forgetThing(name) {
    return this.disk?.removeThing(name);
  }

  putFile(id, blob) {
    return this.write("putFile", [id, blob]);
  }

  keepFilesOf(ids) {
    this.here.keepFilesOf(ids);
    return this.write("keepFilesOf", [ids]);
  }

  // Returns whether it is on the phone's disk; where it is not, the page holds it.
  async write(what, values, onDisk = () => {}) {
    try {
      if (!this.disk) throw new DOMException("", "NotFoundError");
      await this.disk[what](...values);
    } catch (refused) {
      if (!(refused instanceof DOMException)) throw refused;
      this.here[what](...values);
      return false;
    }
    onDisk();
    return true;
  }
}
