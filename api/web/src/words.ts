// How values are written on pages, the same as the filters of the server's templates: the page's root says how the
// business writes times and money.

// Halves go to the even neighbour, as on the server.
const WHOLE = new Intl.NumberFormat("en-US", { maximumFractionDigits: 0, roundingMode: "halfEven" });
// A time of day as plain sentences write it; see api/fields/wording.py.
const TIME = /(?<![\w:.,+])(?<!:\d\d:\d\d-)([01]?[0-9]|2[0-4]):([0-5][0-9])(?![:\w]|\.[0-9]| ?[ap]m\b)/g;

// An amount of ten or more with cents, as the planner writes it.
const CENTS = /\$([0-9][0-9,]+\.[0-9]{2})(?![0-9])/g;

interface Rooted {
  document?: { documentElement?: { dataset?: Record<string, string | undefined> } };
}

function chosen(name: "clock" | "currency"): string | undefined {
  return (globalThis as Rooted).document?.documentElement?.dataset?.[name]; // a worker has no page
}

/** Return minutes after midnight as 14:15 or 2:15 pm. */
export function clock(minutes: number): string {
  const rest = String(minutes % 60).padStart(2, "0");
  if (chosen("clock") !== "12") return `${Math.floor(minutes / 60)}:${rest}`;
  const hours = Math.floor(minutes / 60) % 24;
  return `${((hours + 11) % 12) + 1}:${rest} ${hours < 12 ? "am" : "pm"}`;
}

/** Return cents as whole amounts: $1,234. */
export function dollars(cents: number): string {
  return `${cents < 0 ? "-" : ""}${chosen("currency") ?? "$"}${WHOLE.format(Math.abs(cents) / 100)}`;
}

/** Return a sentence of the service as the business writes times and money. */
export function worded(sentence: string): string {
  const times = chosen("clock") === "12";
  const said = times ? sentence.replace(TIME, (_, hours, minutes) => clock(Number(hours) * 60 + Number(minutes))) : sentence;
  const whole = said.replace(CENTS, (_, amount: string) => `$${WHOLE.format(Number(amount.replaceAll(",", "")))}`);
  return whole.replace(/\$(?=[0-9])/g, () => chosen("currency") ?? "$");
}
