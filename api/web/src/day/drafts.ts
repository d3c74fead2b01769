// Drafts: what is typed and not noted yet, for reloads and for a day posted anew.
import { all } from "../common.ts";

function draftKey(field: HTMLElement): string {
  return `draft ${location.pathname} ${field.dataset["draft"] || field.id}`;
}

/** Keep what stands in a field. */
export function keepDraft(field: HTMLInputElement): void {
  field.dataset["typed"] = "";
  try {
    localStorage.setItem(draftKey(field), field.value);
  } catch {
    // No room: it stays in the field, and goes with the page.
  }
}

/** Forget what was kept of a field. */
export function dropDraft(field: HTMLElement): void {
  delete field.dataset["typed"];
  localStorage.removeItem(draftKey(field));
}

/** Put what was kept back into the page's fields, and open what they are folded in. */
export function restoreDrafts(): void {
  for (const field of all<HTMLInputElement>("[data-draft]")) {
    const draft = localStorage.getItem(draftKey(field));
    if (draft === null) continue;
    field.value = draft;
    field.dataset["typed"] = "";
  }
}
