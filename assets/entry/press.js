// Whether something on the page is just pressed, by a finger, a mouse or the space bar: a button
// drawn anew between press and release would not get the click.

const CLICK_MS = 300; // a touch lets go a moment before its click comes
const LONGEST_MS = 10_000; // what tells of no release does not hold the page still for ever

export class Press {
  constructor(onOver) {
    this.onOver = onOver;
    this.down = new Set();
    this.isOn = false;
  }

  watch() {
    const listen = (name, act) => document.addEventListener(name, act, true);
    listen("pointerdown", ({ pointerId }) => this.begin(pointerId));
    for (const name of ["pointerup", "pointercancel"]) listen(name, ({ pointerId }) => this.end(pointerId));
    listen("keydown", ({ key }) => key === " " && this.begin(key));
    listen("keyup", ({ key }) => key === " " && this.end(key));
    listen("click", () => this.down.size || this.over());
    listen("change", ({ target }) => target.matches?.("select") && this.over()); // let go over its list
    listen("visibilitychange", () => document.visibilityState === "hidden" && this.over());
    window.addEventListener("blur", () => this.over());
  }

  begin(what) {
    this.down.add(what);
    this.isOn = true;
    this.overIn(LONGEST_MS);
  }

  end(what) {
    this.down.delete(what);
    if (this.isOn && !this.down.size) this.overIn(CLICK_MS);
  }

  overIn(wait) {
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.over(), wait);
  }

  // What the click itself does may draw at once; what waited for it comes after.
  over() {
    clearTimeout(this.timer);
    this.down.clear();
    if (!this.isOn) return;
    this.isOn = false;
    setTimeout(this.onOver, 0);
  }
}
