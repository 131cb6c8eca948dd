// A reading taken by eye: checked as it is typed, exact (digits are whole numbers here, never floats).

const WIRES_MM = 3n; // upper less middle and middle less lower may differ by so much, as three wires in words
const STADIA = 100n; // sight length over the staff between the outer wires, of nearly every level; common practice

/** Digits as a whole number and how many of them are decimals; null if it is no number. */
export function parse(text) {
  const found = /^([-\u2212]?)(\d{1,4})(?:\.(\d{0,6}))?$/.exec(text.trim());
  if (!found) return null;
  const decimals = found[3]?.length ?? 0;
  const whole = BigInt(found[2] + (found[3] ?? ""));
  return { whole: found[1] ? -whole : whole, decimals };
}

const at = (number, decimals) => number.whole * 10n ** BigInt(decimals - number.decimals);

export function show(whole, decimals) {
  const digits = (whole < 0n ? -whole : whole).toString().padStart(decimals + 1, "0");
  const cut = digits.length - decimals;
  return (whole < 0n ? "-" : "") + digits.slice(0, cut) + (decimals ? "." + digits.slice(cut) : "");
}

/** What stands in the fields comes to: { words } to say and perhaps a { note } on it, or { wrong } and why, or {} while
 * nothing is typed. */
export function check(how, typed, unit, staffLength) {
  const needed = how === "three" ? ["upper", "middle", "lower"] : ["staff"];
  if (needed.every((name) => !typed[name])) return {};
  for (const name of [...needed, ...(how === "one" && typed.sight ? ["sight"] : [])]) {
    if (!typed[name]) return { wrong: `${name}: not typed yet` };
    if (!parse(typed[name])) return { wrong: `${name}: a number such as 1.2345 is wanted` };
  }
  const numbers = Object.fromEntries(needed.map((name) => [name, parse(typed[name])]));
  const decimals = Math.max(...Object.values(numbers).map((number) => number.decimals));
  const longest = staffLength ? parse(staffLength) : null;
  for (const [name, number] of Object.entries(numbers)) {
    const most = Math.max(decimals, longest?.decimals ?? 0);
    const size = at(number, most);
    if (longest && (size < 0n ? -size : size) > at(longest, most)) {
      return { wrong: `${name}: the staff is ${staffLength} ${unit} long` };
    }
  }
  if (how === "one") {
    const sight = typed.sight ? [typed.sight] : [];
    if (sight.length && parse(typed.sight).whole <= 0n) return { wrong: "sight: a length above zero is wanted" };
    return { words: [typed.staff.replace("\u2212", "-"), ...sight], text: `staff ${typed.staff} ${unit}${sight.length ? `, sight ${typed.sight} ${unit}` : ", without a sight length"}` };
  }
  const fine = Math.max(decimals, 4);
  const [upper, middle, lower] = needed.map((name) => at(numbers[name], fine));
  if (upper <= lower) return { wrong: "the upper wire must read more than the lower" };
  const halves = (upper - middle) - (middle - lower);
  const millimetre = unit === "m" ? 10n ** BigInt(fine - 3) : 10n ** BigInt(fine) * 10n / 3048n;
  if ((halves < 0n ? -halves : halves) > WIRES_MM * millimetre) {
    return { wrong: `the halves differ by ${show(halves, fine)} ${unit}: read the three wires again` };
  }
  // One more digit than was read, to the nearest.
  const sum = (upper + middle + lower) * 10n;
  const mean = (sum + (sum < 0n ? -1n : 1n)) / 3n;
  const staff = show(mean, fine + 1);
  const sight = show((upper - lower) * STADIA, fine);
  const wires = needed.map((name) => typed[name]).join(", ");
  return { words: [staff, sight], note: `three wires ${wires}`, text: `mean of three wires ${staff} ${unit}, sight ${sight} ${unit}` };
}
