// How values are written on pages, the same as the filters of the server's templates.

// Halves go to the even neighbour, as on the server.
const WHOLE = new Intl.NumberFormat("en-US", { maximumFractionDigits: 0, roundingMode: "halfEven" });

/** Return minutes after midnight as 9:15. */
export function clock(minutes: number): string {
  return `${Math.floor(minutes / 60)}:${String(minutes % 60).padStart(2, "0")}`;
}

/** Return cents as whole dollars: $1,234. */
export function dollars(cents: number): string {
  return `${cents < 0 ? "-" : ""}$${WHOLE.format(Math.abs(cents) / 100)}`;
}

/** Return a length of time as 3 h 40 or 45 min. */
export function duration(minutes: number): string {
  return minutes < 60 ? `${minutes} min` : `${Math.floor(minutes / 60)} h ${String(minutes % 60).padStart(2, "0")}`;
}

/** Return a date written 2027-04-12 as Mon Apr 12. */
export function dayName(date: string): string {
  const [year, month, day] = date.split("-").map(Number);
  const at = new Date(Date.UTC(year ?? 0, (month ?? 1) - 1, day ?? 1));
  const name = (options: Intl.DateTimeFormatOptions) => at.toLocaleDateString("en-US", { ...options, timeZone: "UTC" });
  return `${name({ weekday: "short" })} ${name({ month: "short" })} ${at.getUTCDate()}`;
}
