// Amounts as people type them. Digits stay as typed; sums are exact, never floating point.

const PLAIN = /^(\d+\.?\d*|\.\d+)$/;
const THOUSANDS = /^[1-9]\d{0,2}(,\d{3})+(\.\d+)?$/;
const LARGEST = 1e9; // no shift places more of anything; more digits are a slip of the hand

// Returns the amount as decimal text, or null where it is none (60,5 could mean two things).
export function readAmount(typed) {
  const text = typed.trim();
  const plain = THOUSANDS.test(text) ? text.replaceAll(",", "") : text;
  if (!PLAIN.test(plain) || !(Number(plain) > 0) || Number(plain) > LARGEST) return null;
  return plain.replace(/\.$/, "").replace(/^\./, "0.");
}

export function total(amounts) {
  const places = Math.max(0, ...amounts.map(decimals));
  const sum = amounts.reduce((so_far, amount) => so_far + scaled(amount, places), 0n);
  return unscaled(sum, places);
}

// One step up or down, never to nothing: a load of no volume is no load.
export function stepped(amount, step, up) {
  const places = Math.max(decimals(amount), decimals(step));
  const by = up ? scaled(step, places) : -scaled(step, places);
  const next = scaled(amount, places) + by;
  return next > 0n ? unscaled(next, places) : amount;
}

function decimals(amount) {
  return (amount.split(".")[1] || "").length;
}

function scaled(amount, places) {
  const [whole, part = ""] = amount.split(".");
  return BigInt((whole || "0") + part.padEnd(places, "0"));
}

function unscaled(number, places) {
  const digits = number.toString().padStart(places + 1, "0");
  return places ? `${digits.slice(0, -places)}.${digits.slice(-places)}` : digits;
}

export function shown(number) {
  return Number(number).toLocaleString("en-US", { maximumFractionDigits: 1 });
}
