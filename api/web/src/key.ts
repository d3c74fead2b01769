/** Return a key for a write that may be sent again: the same for its repeats, another for every other write. */
export function newKey(): string {
  // Not crypto.randomUUID(), which browsers give to https and this machine alone: an office network may have neither.
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}
