/** Return a key for a write that may be sent again: the same for its repeats, another for every other write. */
export function newKey(): string {
  return crypto.randomUUID();
}
