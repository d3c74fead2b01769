// The scripts' texts in the language of the page: it brings the catalogue of those (`#spoken`) where that is not English.

type Values = Record<string, string | number>;
type Catalogue = Record<string, string | [string, string]>;

interface Paged {
  document?: { querySelector?: (selector: string) => { textContent: string | null } | null }; // a worker has no page
}

let known: Catalogue | undefined;

function catalogue(): Catalogue {
  known ??= JSON.parse((globalThis as Paged).document?.querySelector?.("#spoken")?.textContent ?? "{}") as Catalogue;
  return known;
}

/** Return a text with `values` in the places of {name}. */
export function filled(text: string, values: Values): string {
  return text.replace(/\{(\w+)\}/g, (whole, name: string) => String(values[name] ?? whole));
}

/** Return a text in the page's language, with `values` in the places of {name}. */
export function spoken(text: string, values: Values = {}): string {
  const told = catalogue()[text];
  return filled(typeof told === "string" ? told : text, values);
}

/** Return the text for a count, which is its {n}, in the page's language. */
export function spokenFor(one: string, more: string, n: number, values: Values = {}): string {
  const [single, several] = catalogue()[one] ?? [one, more];
  return filled((n === 1 ? single : several) ?? more, { n, ...values });
}
