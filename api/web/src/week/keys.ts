// The sheet by keyboard: arrows go from visit to visit, Enter picks one up, arrows carry it, Enter puts it down.
import { attempt } from "../common.ts";
import { isArrow, type Arrow } from "./aim.ts";
import * as hand from "./hand.ts";
import * as sheet from "./sheet.ts";

/** Listen on the document; `undo` is what Ctrl+Z does. */
export function listen(undo: () => void): void {
  document.addEventListener("keydown", (event) => {
    if (event.altKey || event.metaKey || !(event.target instanceof HTMLElement)) return;
    if (event.ctrlKey) {
      const writes = event.target.closest("input, textarea, select, dialog") !== null;
      if (event.key.toLowerCase() === "z" && !writes && !hand.inHand()) {
        event.preventDefault();
        undo();
      }
      return;
    }
    if (event.target.closest("dialog") !== null) return;
    const grip = event.target.closest<HTMLElement>("#board .grip");
    if (event.key === "Escape" && (hand.inHand() || hand.spokenOf() !== null)) {
      event.preventDefault();
      hand.letGo(true);
      return;
    }
    if (grip === null) return;
    const visit = grip.closest<HTMLElement>(".visit");
    if (visit === null) return;
    if (event.key === "Enter" || event.key === " ") {
      event.preventDefault();
      if (hand.inHand()) void hand.put();
      else hand.pick(visit, true);
    } else if (isArrow(event.key)) {
      event.preventDefault();
      if (hand.inHand()) hand.arrow(event.key);
      else go(visit, event.key);
    } else if (event.key.toLowerCase() === "l" && !hand.inHand()) {
      event.preventDefault();
      void attempt(() => hand.lock(visit));
    }
  });
  document.addEventListener("focusin", (event) => {
    const grip = event.target instanceof Element ? event.target.closest<HTMLElement>("#board .grip") : null;
    const visit = grip?.closest<HTMLElement>(".visit");
    if (grip === null || !visit) return;
    hand.rove(grip);
    hand.show(visit);
  });
}

/** Give the focus to the next visit in a direction: in the same day, then that of the next crew; or in the next day. */
function go(from: HTMLElement, way: Arrow): void {
  const day = from.closest<HTMLElement>("td[data-crew]");
  const list = day === null ? [...document.querySelectorAll<HTMLElement>("#pile .visit")] : sheet.visitsOf(day).filter((visit) => sheet.gripOf(visit) !== null);
  const at = list.indexOf(from);
  const onward = way === "ArrowDown" || way === "ArrowRight";
  let to: HTMLElement | undefined;
  if (way === "ArrowUp" || way === "ArrowDown") {
    to = list[at + (onward ? 1 : -1)] ?? (day === null ? undefined : nextDay(day, 0, onward ? 1 : -1));
  } else if (day !== null) {
    to = nextDay(day, onward ? 1 : -1, 0) ?? (onward ? document.querySelector<HTMLElement>("#pile .visit") ?? undefined : undefined);
  } else if (!onward) to = [...document.querySelectorAll<HTMLElement>("#board td .visit")].at(-1);
  const grip = to === undefined ? null : sheet.gripOf(to);
  if (grip !== null) {
    hand.rove(grip);
    if (grip.closest("#pile") !== null) hand.beside(false);
    grip.focus();
  }
}

function nextDay(day: HTMLElement, across: number, down: number): HTMLElement | undefined {
  const { crews, days } = sheet.gridWithout(null);
  let crew = crews.indexOf(day.dataset.crew ?? "") + down;
  let n = Number(day.dataset.day) + across;
  for (; crew >= 0 && crew < crews.length && n >= 0 && n < days; crew += down, n += across) {
    const there = sheet.dayOf(crews[crew] ?? "", n);
    const visits = there === null ? [] : sheet.visitsOf(there).filter((visit) => sheet.gripOf(visit) !== null);
    if (visits.length > 0) return down < 0 ? visits.at(-1) : visits[0];
  }
  return undefined;
}
