// The sheet on the page: finding days and visits in it, putting a newer state of it in place, marks of a comparison.
import { all, make, one } from "../common.ts";
import { clock } from "../words.ts";
import type { Aim, Cell, Grid } from "./aim.ts";
import { spoken } from "../spoken.ts";

export const board = (): HTMLElement => one("#board");
export const planId = (): number => Number(board().dataset.plan);
export const weekStart = (): string => board().dataset.week ?? "";

/** Return the date of a day of the week, written 2027-04-12. */
export function dateOf(day: number): string {
  const at = new Date(`${weekStart()}T00:00:00Z`);
  at.setUTCDate(at.getUTCDate() + day);
  return at.toISOString().slice(0, 10);
}

/** Return the element of a crew's day; null where the sheet has none. */
export function dayOf(crew: string, day: number): HTMLElement | null {
  return board().querySelector(`td[data-crew="${CSS.escape(crew)}"][data-day="${day}"]`);
}

/** Return the element of a visit, wherever it is. */
export function visitOf(id: string): HTMLElement | null {
  return board().querySelector(`.visit[data-visit="${CSS.escape(id)}"]`);
}

export const gripOf = (visit: Element): HTMLElement | null => visit.querySelector<HTMLElement>(".grip");

/** Return the stops of a day in their order, lifts of other crews' visits among them, without `but` and its own lift. */
export function visitsOf(day: Element, but: Element | null = null): HTMLElement[] {
  const moved = (but as HTMLElement | null)?.dataset.visit;
  return all("li.visit, li.lift", day).filter((stop) => stop !== but && (moved === undefined || stop.dataset.lift !== moved));
}

/** Return where a visit is now. */
export function placeOf(visit: Element): Aim {
  const day = visit.closest<HTMLElement>("td[data-crew]");
  if (day === null) return "pile";
  return { crew: day.dataset.crew ?? "", day: Number(day.dataset.day), position: visitsOf(day).indexOf(visit as HTMLElement) };
}

/** Return the sheet as the arrows see it, without the visit `but`. */
export function gridWithout(but: Element | null): Grid {
  const rows = all("tbody tr", board());
  const crews = rows.map((row) => one("td[data-crew]", row).dataset.crew ?? "");
  const days = rows[0] === undefined ? 0 : all("td[data-crew]", rows[0]).length;
  return {
    crews,
    days,
    visits(crew, day) {
      const cell = dayOf(crew, day);
      return cell === null || cell.classList.contains("off") ? null : visitsOf(cell, but).length;
    },
  };
}

/** Return the name by which a visit is spoken of: its customer, else its number. */
export function nameOf(visit: Element): string {
  const label = gripOf(visit)?.getAttribute("aria-label") ?? "";
  const { name, visit: id } = (visit as HTMLElement).dataset;
  return label.replace(/^\S+ /, "") || name || id || "";
}

/** Return a place in words: "Veldt, Tue Apr 13, before J-1088, Ivo Carrowby". */
export function words(aim: Aim, but: Element | null): string {
  if (aim === "pile") return spoken("the waiting pile");
  const day = dayOf(aim.crew, aim.day);
  if (day === null) return aim.crew;
  const crew = one("th b", day.parentElement ?? day).textContent ?? aim.crew;
  const others = visitsOf(day, but);
  const next = others[aim.position];
  const where = others.length === 0 ? spoken("alone") : next !== undefined ? spoken("before {visit}", { visit: nameOf(next) }) : spoken("last");
  return `${crew}, ${day.dataset.date ?? ""}, ${where}`;
}

/** Return which of a day's places lies at the height `y` of the window. */
export function positionAt(day: Element, y: number, but: Element | null): number {
  const others = visitsOf(day, but);
  const below = others.findIndex((visit) => {
    const box = visit.getBoundingClientRect();
    return y < box.top + box.height / 2;
  });
  return below === -1 ? others.length : below;
}

/** Return the line, in the window, on which a visit would land: left, top and width. */
export function landingOf(aim: Cell, but: Element | null): { left: number; top: number; width: number } | null {
  const day = dayOf(aim.crew, aim.day);
  if (day === null) return null;
  const box = day.getBoundingClientRect();
  const others = visitsOf(day, but);
  const next = others[aim.position];
  const last = others.at(-1);
  const top = next !== undefined ? next.getBoundingClientRect().top
    : last !== undefined ? last.getBoundingClientRect().bottom
    : box.top + 24;
  return { left: box.left, top, width: box.width };
}

/**
 * Show a visit at the place where it was put down while the service is at work on that; return what takes it back.
 * The sheet that is drawn anew then takes its place.
 */
export function standIn(visit: HTMLElement, aim: Aim): () => void {
  const list = aim === "pile" ? document.querySelector("#pile ul") : dayOf(aim.crew, aim.day)?.querySelector("ol.day");
  if (!list) return () => undefined;
  const { parentNode, nextSibling } = visit;
  const before = aim === "pile" ? list.firstChild : visitsOf(list, visit)[aim.position];
  const focused = document.activeElement;
  const to = (parent: Node | null, next: Node | null): void => {
    parent?.insertBefore(visit, next);
    if (visit.contains(focused)) (focused as HTMLElement).focus(); // an element that is moved loses it
  };
  visit.classList.add("putting");
  to(list, before ?? null);
  return () => {
    visit.classList.remove("putting");
    to(parentNode, nextSibling);
  };
}

const parts = (root: ParentNode): Map<string, HTMLElement> =>
  new Map(all("[data-part]", root).map((part) => [part.dataset.part ?? "", part]));
let served = new Map<string, string>();

/** Note the parts as the server made them, before scripts change anything: a newer state replaces only what differs. */
export function remember(): void {
  served = new Map([...parts(document)].map(([name, part]) => [name, part.outerHTML]));
}

/**
 * Fetch the newest plan's sheet and put what has changed of it in place; return the visits that were drawn anew.
 * `only`: that part alone, the rest is left as it is.
 */
export async function refresh(only?: string): Promise<string[]> {
  const address = `/weeks/${weekStart()}`;
  const compared = one("#compared");
  const closed = compared.hidden;
  const answer = await fetch(address, { headers: { Accept: "text/html" }, credentials: "same-origin" });
  if (!answer.ok || answer.redirected) {
    location.assign(address);
    return [];
  }
  const next = new DOMParser().parseFromString(await answer.text(), "text/html");
  const plan = next.querySelector<HTMLElement>("#board")?.dataset.plan;
  // A comparison of this very plan that was opened while the sheet was on its way stays open, and its marks stay.
  if (closed && !compared.hidden && plan === board().dataset.plan) only ??= "answer";
  const old = parts(document);
  const drawn: string[] = [];
  for (const [name, part] of parts(next)) {
    const html = part.outerHTML;
    if (served.get(name) === html || (only !== undefined && name !== only)) continue;
    served.set(name, html);
    const there = old.get(name);
    if (there === undefined) continue;
    // Of what is drawn anew only the visits that are new to their place are told.
    const before = new Set(all(".visit", there).map((visit) => visit.dataset.visit));
    drawn.push(...all(".visit", part).map((v) => v.dataset.visit ?? "").filter((id) => !before.has(id)));
    there.replaceWith(document.importNode(part, true));
  }
  if (only !== undefined) return drawn;
  // A comparison is of the plan that was shown.
  clearMarks();
  compared.hidden = true;
  if (plan !== undefined) board().dataset.plan = plan;
  reachable();
  if (location.search !== "") history.replaceState(null, "", address);
  return drawn;
}

/** See to it that Tab reaches one grip; the arrows lead on from there. */
export function reachable(): void {
  if (board().querySelector('.grip[tabindex="0"]') !== null) return;
  const first = board().querySelector<HTMLElement>(".grip");
  if (first !== null) first.tabIndex = 0;
}

/** Point at the visits that a figure of the head or foot is for, and bring the first into sight. */
export function point(ids: readonly string[]): void {
  for (const old of all(".visit.pointed", board())) old.classList.remove("pointed");
  const found = ids.flatMap((id) => visitOf(id) ?? []);
  for (const visit of found) visit.classList.add("pointed");
  found[0]?.scrollIntoView({ block: "nearest" });
}

/** Where a visit is in another plan, null for the pile. */
export interface Spot {
  crew: string;
  day: number;
  date: string;
  start: number;
}

/** Mark a visit with where it was in the plan that this one is laid against. */
export function markMoved(id: string, was: string): void {
  const visit = visitOf(id);
  if (visit === null) return;
  visit.classList.add("moved");
  visit.append(make("span", { class: "was" }, was));
}

export function clearMarks(): void {
  for (const visit of all(".visit.moved", board())) {
    visit.classList.remove("moved");
    visit.querySelector(".was")?.remove();
  }
}

/** Return a spot of another plan in words. */
export function wasWords(spot: Spot | null): string {
  if (spot === null) return spoken("⇄ was on the pile");
  const day = dayOf(spot.crew, spot.day);
  const crew = day === null ? spot.crew : (one("th b", day.parentElement ?? day).textContent ?? spot.crew);
  return spoken("⇄ was {day} {time}, {crew}", { day: day?.dataset.date ?? spot.date, time: clock(spot.start), crew });
}
