// Which shift the entries are of: the one that runs now, unless another was chosen, or what is
// filled in was filled in during an earlier one.

// `chosen` holds for the day on which it was chosen, and as long as something is filled in.
export function shiftMeant({ shift: chosen, during }, isFilled, usual) {
  if (chosen && (isFilled || chosen.chosen_on === usual.day)) return chosen;
  return isFilled && isEarlier(during, usual) ? during : usual;
}

// What is filled in counts for the shift in which it was, however late it is sent.
export function duringWhich({ during }, isFilled, usual) {
  if (!isFilled) return null;
  return isEarlier(during, usual) ? during : usual;
}

export function isEarlier(shift, usual) {
  return Boolean(shift) && shift.day < usual.day;
}

// Whether times of one mean the same moments in the other.
export function meanTheSame(one, other) {
  return one.day === other.day && [one, other].every((shift) => shift.from <= shift.to);
}
