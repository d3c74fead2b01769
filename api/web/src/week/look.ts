// What opens beside the sheet for those who may not move visits: everything of a visit, and the way to its job.
import { all, one } from "../common.ts";
import { placeOf, words } from "./sheet.ts";

let from: HTMLElement | null = null;

/** Open a visit beside the sheet. */
function show(visit: HTMLElement): void {
  const link = one<HTMLAnchorElement>("a", visit);
  one("#slip-title").textContent = link.title;
  one("#slip-where").textContent = words(placeOf(visit), visit);
  one("#slip-more").replaceChildren(...[...one(".more", visit).childNodes].map((node) => node.cloneNode(true)));
  one<HTMLAnchorElement>("#slip-open").href = link.href;
  one("#side").classList.toggle("instead", placeOf(visit) !== "pile");
  for (const old of all(".visit.open")) old.classList.remove("open");
  visit.classList.add("open");
  one("#slip").hidden = false;
  from = link;
}

/** Close what is open, and go back to where it was opened from. */
function close(): void {
  one("#slip").hidden = true;
  one("#side").classList.remove("instead");
  for (const old of all(".visit.open")) old.classList.remove("open");
  from?.focus();
  from = null;
}

/** Open a visit by a click or Enter on its line; a key held opens its page as any link. Escape closes. */
export function listen(): void {
  document.addEventListener("click", (event) => {
    if (!(event.target instanceof Element)) return;
    if (event.target.id === "slip-drop") return close();
    const visit = event.target.closest<HTMLElement>("#board .visit");
    if (visit === null || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    show(visit);
  });
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && !one("#slip").hidden) close();
  });
}
