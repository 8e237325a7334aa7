// What a clock on site shows. The phone may be in another zone or wrong, so the site's time is
// the sheet's own time and what has passed on the phone since it came.

const MINUTE = 60_000;
const DAY = 86_400_000;

export class SiteClock {
  constructor(asOf, cameAt, phone = Date.now) {
    this.asOf = wall(asOf);
    this.cameAt = cameAt;
    this.phone = phone;
  }

  now() {
    return written(this.asOf + Math.max(0, this.phone() - this.cameAt));
  }
}

// "2026-11-24T15:30" as a number that only ever meets others made here.
export function wall(moment) {
  return Date.parse(`${moment.slice(0, 16)}Z`);
}

export function written(number) {
  return new Date(number).toISOString().slice(0, 16);
}

export function minutesLater(moment, minutes) {
  return written(wall(moment) + minutes * MINUTE);
}

export function minutesApart(one, other) {
  return Math.abs(wall(one) - wall(other)) / MINUTE;
}

export function isDay(text) {
  return /^\d{4}-\d{2}-\d{2}$/.test(text) && !Number.isNaN(wall(`${text}T00:00`));
}

export function isTime(text) {
  return /^([01]\d|2[0-3]):[0-5]\d$/.test(text);
}

// The moment a time of a shift means. In a shift over midnight a time after midnight is on the
// next date: of the two dates, the one nearer to the shift is meant.
export function momentOf(shift, time) {
  const at = wall(`${shift.day}T${time}`);
  const from = wall(`${shift.day}T${shift.from}`);
  const sameDay = wall(`${shift.day}T${shift.to}`);
  if (sameDay >= from) return written(at);
  const to = sameDay + DAY;
  const outside = (moment) => Math.max(from - moment, moment - to, 0);
  return written(outside(at + DAY) < outside(at) ? at + DAY : at);
}

// The shift that ends now: of the day before when now is earlier than the shift's usual start.
export function shiftAt(now, usualStart) {
  const [day, time] = now.split("T");
  const began = time < usualStart ? written(wall(now) - DAY).slice(0, 10) : day;
  return { day: began, from: usualStart, to: time };
}

// The moment now; blank where the shift that is told of is not the one that runs now.
export function nowIn(shift, now, usualStart) {
  return shiftAt(now, usualStart).day === shift.day ? now : "";
}

const WORDS = { weekday: "short", day: "numeric", month: "short", timeZone: "UTC" };

export function dayWords(moment) {
  return new Date(wall(`${moment.slice(0, 10)}T00:00`)).toLocaleDateString("en-GB", WORDS);
}

export function momentWords(moment) {
  return `${dayWords(moment)}, ${moment.slice(11, 16)}`;
}
