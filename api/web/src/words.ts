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
