// A reading taken by eye: checked as it is typed, exact (digits are whole numbers here, never floats).

const WIRES_MM = 3n; // half intervals may differ by so much, or by two of the last digit that was read
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

/** What stands in the fields comes to: the { words } of the terminal that say it, or { wrong } and why, or {} while nothing
 * is typed. */
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
  const plain = (name) => typed[name].replace("\u2212", "-");
  if (how === "one") {
    const sight = typed.sight ? [typed.sight] : [];
    if (sight.length && parse(typed.sight).whole <= 0n) return { wrong: "sight: a length above zero is wanted" };
    return { words: ["key", plain("staff"), ...sight], text: `staff ${typed.staff} ${unit}${sight.length ? `, sight ${typed.sight} ${unit}` : ", without a sight length"}` };
  }
  const { wrong, mean, sight } = wires(needed.map((name) => numbers[name]), decimals, unit);
  if (wrong) return { wrong };
  return { words: ["wires", ...needed.map(plain)], text: `three wires: mean ${mean} ${unit}, sight ${sight} ${unit}` };
}

/** Three wires as `wires` in words reduces them (field/three_wire.rs): given from above or from below, the mean to one
 * decimal more than was read, the sight length from the interval. */
function wires(numbers, decimals, unit) {
  const fine = Math.max(decimals, 4);
  const [first, middle, last] = numbers.map((number) => at(number, fine));
  const [upper, lower] = first > last ? [first, last] : [last, first];
  if (!(lower < middle && middle < upper)) {
    const typed = numbers.map((number) => show(number.whole, number.decimals)).join(", ");
    return { wrong: `the wires ${typed} are out of order: the middle one lies between the others` };
  }
  const halves = (upper - middle) - (middle - lower);
  const apart = halves < 0n ? -halves : halves;
  const millimetres = unit === "m" ? WIRES_MM * 10n ** BigInt(fine - 3) : (WIRES_MM * 10n ** BigInt(fine) * 10n) / 3048n;
  const digits = 2n * 10n ** BigInt(fine - decimals);
  const limit = millimetres > digits ? millimetres : digits;
  if (apart > limit) {
    return { wrong: `the half intervals differ by ${show(apart, fine)} ${unit} (limit ${show(limit, fine)} ${unit}): read the wires again` };
  }
  const read = numbers.map((number) => at(number, decimals));
  const sum = (read[0] + read[1] + read[2]) * 10n;
  const mean = (sum + (sum < 0n ? -1n : 1n)) / 3n;
  const interval = read[0] > read[2] ? read[0] - read[2] : read[2] - read[0];
  return { mean: show(mean, decimals + 1), sight: show(interval * STADIA, decimals) };
}
