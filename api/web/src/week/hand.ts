// The visit in hand: picked up by key, tap or drag, held over a place, judged there, put down or let go.
import { Fault, ask, attempt, make, newKey, one, say, send } from "../common.ts";
import { same, step, type Aim, type Arrow, type Cell } from "./aim.ts";
import * as sheet from "./sheet.ts";
import { change, kinds, sentence, split, type Tried } from "./verdict.ts";
import { spoken } from "../spoken.ts";

const SETTLE_MS = 140;

interface Held {
  visit: HTMLElement;
  id: string;
  from: Aim;
  aim: Aim;
  tried: Promise<Tried | null> | null;
}

let held: Held | null = null;
/** The visit that the slip speaks of while none is in hand. */
let shown: string | null = null;
let timer: ReturnType<typeof setTimeout> | undefined;
let asking: AbortController | null = null;
let putting = false;

const slip = (): HTMLElement => one("#slip");
const line = make("div", { class: "landing", "aria-hidden": "true", hidden: true });

/** Have what is done read out without showing it twice: the slip shows it. */
export function tell(text: string): void {
  one("#told").textContent = text;
}

export const inHand = (): boolean => held !== null;

/** Show the slip of a visit: what can be done with it. */
export function show(visit: HTMLElement): void {
  if (held !== null) return;
  shown = visit.dataset.visit ?? null;
  if (shown === null) return;
  const onSheet = sheet.placeOf(visit) !== "pile";
  one("#slip-title").textContent = sheet.nameOf(visit);
  one("#slip-where").textContent = sheet.words(sheet.placeOf(visit), visit);
  one("#slip-verdict").replaceChildren();
  one("#slip-more").replaceChildren(...[...(visit.querySelector(".more")?.childNodes ?? [])].map((node) => node.cloneNode(true)));
  beside(onSheet);
  for (const old of document.querySelectorAll(".visit.open")) old.classList.remove("open");
  visit.classList.add("open");
  one<HTMLAnchorElement>("#slip-open").href = `/jobs/${encodeURIComponent(shown)}`;
  one("#slip-lock").textContent = "locked" in visit.dataset ? spoken("Unlock") : spoken("Lock");
  set({ put: false, move: true, pile: onSheet, lock: onSheet || "locked" in visit.dataset, open: true });
  one("#slip-drop").textContent = spoken("Close");
  const promised = visit.dataset.hold;
  one("#slip-promise").hidden = promised === undefined;
  if (promised !== undefined) one<HTMLSelectElement>("#slip-hold").value = promised;
  one("#slip-keys").textContent = spoken("Enter picks it up, arrows look around, L locks, Escape closes.");
  slip().hidden = false;
}

/** Have the slip stand in the place of the pile; a visit of the pile, or one in hand, leaves the pile in sight. */
export function beside(instead: boolean): void {
  one("#side").classList.toggle("instead", instead);
}

function set(which: Record<"put" | "move" | "pile" | "lock" | "open", boolean>): void {
  for (const [name, there] of Object.entries(which)) one(`#slip-${name}`).hidden = !there;
}

/** Pick a visit up; `keys`: by keyboard, so that the keys are told. */
export function pick(visit: HTMLElement, keys: boolean): void {
  letGo(false);
  const from = sheet.placeOf(visit);
  held = { visit, id: visit.dataset.visit ?? "", from, aim: from, tried: null };
  visit.classList.add("picked");
  beside(false);
  slip().classList.add("held");
  sheet.gripOf(visit)?.setAttribute("aria-pressed", "true");
  document.body.append(line);
  one("#slip-title").textContent = sheet.nameOf(visit);
  set({ put: true, move: false, pile: from !== "pile", lock: false, open: false });
  one("#slip-promise").hidden = true;
  one("#slip-drop").textContent = spoken("Let go");
  one("#slip-keys").textContent = spoken("Arrows move it, Enter puts it down, Escape lets go.");
  slip().hidden = false;
  aimed();
  if (keys) tell(spoken("{visit} in hand, at {place}. Arrows move it, Enter puts it down, Escape lets go.", { visit: sheet.nameOf(visit), place: sheet.words(from, visit) }));
}

/** Move the visit in hand by an arrow. */
export function arrow(key: Arrow): void {
  if (held === null || putting) return;
  const home: Cell = held.from === "pile" ? firstCell() : held.from;
  aim(step(sheet.gridWithout(held.visit), held.aim, key, home), true);
}

function firstCell(): Cell {
  const grid = sheet.gridWithout(null);
  return { crew: grid.crews[0] ?? "", day: grid.days - 1, position: 0 };
}

/** Hold the visit over a place; the service is asked once it rests there. */
export function aim(at: Aim, aloud = false): void {
  if (held === null || putting || same(at, held.aim)) return;
  held.aim = at;
  aimed();
  if (aloud) tell(sheet.words(at, held.visit));
  if (at !== "pile" && aloud) sheet.dayOf(at.crew, at.day)?.scrollIntoView({ block: "nearest", inline: "nearest" });
  drawLine();
  clearTimeout(timer);
  asking?.abort();
  held.tried = null;
  if (same(at, held.from)) return;
  const now = held;
  timer = setTimeout(() => {
    void judged(now).then((tried) => {
      if (aloud && tried !== null && held === now && same(now.aim, at)) tell(`${sheet.words(at, now.visit)}. ${sentence(tried)}`);
    });
  }, SETTLE_MS);
}

function body(of: Held): Record<string, unknown> {
  if (of.aim === "pile") return { visit: of.id, pile: true };
  return { visit: of.id, crew: of.aim.crew, day: of.aim.day, position: of.aim.position };
}

/** Ask what the move comes to, once for a place; null where it was given up or refused in words. */
function judged(of: Held): Promise<Tried | null> {
  if (of.tried !== null) return of.tried;
  asking?.abort();
  const mine = (asking = new AbortController());
  const at = of.aim;
  of.tried = send<Tried>("POST", `/plans/${sheet.planId()}/tries`, body(of), { signal: mine.signal }).then(
    (tried) => {
      if (held === of && same(of.aim, at)) verdict(tried);
      return tried;
    },
    (fault: unknown) => {
      if (fault instanceof Fault && held === of && same(of.aim, at)) one("#slip-verdict").replaceChildren(fault.message);
      if (!(fault instanceof Fault) && !(fault instanceof DOMException)) throw fault;
      return null;
    },
  );
  return of.tried;
}

function verdict(tried: Tried): void {
  const { rules, promises } = split(tried);
  line.classList.toggle("refused", rules.length > 0);
  const told = [...rules, ...promises];
  const cost = rules.length > 0 ? "" : change(tried.cost_change_cents);
  const by = rules.length > 0 ? "" : kinds(tried.by_kind);
  const head = rules.length > 0 ? spoken("▲ cannot go here") : promises.length > 0 ? spoken("▲ breaks a promise, {cost}", { cost }) : spoken("✓ can go here, {cost}", { cost });
  one("#slip-verdict").replaceChildren(
    make("p", { class: told.length > 0 ? "flag" : "good" }, head, ...(by === "" ? [] : [make("span", { class: "quiet small" }, ` (${by})`)])),
    ...(told.length > 0 ? [make("ul", {}, ...told.map((text) => make("li", {}, text)))] : []),
  );
}

function aimed(): void {
  if (held === null) return;
  const home = same(held.aim, held.from);
  one("#slip-where").textContent = home ? spoken("where it is") : spoken("to {place}", { place: sheet.words(held.aim, held.visit) });
  one("#slip-verdict").replaceChildren(home ? "" : make("p", { class: "quiet" }, spoken("asking what it comes to …")));
  one<HTMLButtonElement>("#slip-put").disabled = home;
  for (const old of document.querySelectorAll(".aim")) old.classList.remove("aim");
  const target = held.aim === "pile" ? one("#pile") : sheet.dayOf(held.aim.crew, held.aim.day);
  if (!home) target?.classList.add("aim");
}

/** Draw the line on which the visit would land: over the page, so that nothing below it is laid out anew. */
export function drawLine(): void {
  if (held === null) return;
  const at = held.aim === "pile" || same(held.aim, held.from) ? null : sheet.landingOf(held.aim, held.visit);
  line.hidden = at === null;
  if (at === null) return;
  line.style.transform = `translate(${at.left}px, ${at.top - 2}px)`;
  line.style.width = `${at.width}px`;
}

/** Put the visit down where it is held: refused in words where a rule stands against it, asked where a promise does. */
export async function put(): Promise<void> {
  const mine = held;
  if (mine === null || putting) return;
  if (same(mine.aim, mine.from)) return letGo(true);
  putting = true;
  clearTimeout(timer);
  const where = sheet.words(mine.aim, mine.visit);
  let back = sheet.standIn(mine.visit, mine.aim);
  const not = (text: string): void => {
    back();
    back = () => undefined;
    refused(text);
  };
  try {
    const tried = await judged(mine);
    if (held !== mine) return;
    if (tried === null) return not(spoken("The service did not say what this comes to. Try again."));
    const { rules, promises } = split(tried);
    if (rules.length > 0) return not(`${spoken("Not moved.")} ${rules.join(" ")}`);
    const despite = promises.length > 0;
    if (despite && !(await ask(`${promises.join(" ")} ${spoken("Move it all the same?")}`, { yes: spoken("Break the promise") }))) {
      return not(spoken("Not moved."));
    }
    busy(true);
    await send("POST", `/plans/${sheet.planId()}/moves`, { ...body(mine), despite }, { key: newKey() });
    back = () => undefined;
    clear();
    await sheet.refresh();
    const done = spoken("{visit}: moved to {place}, {cost}. Undo takes it back.", { visit: sheet.nameOf(mine.visit), place: where, cost: change(tried.cost_change_cents) });
    say(done);
    focusOn(mine.id);
  } catch (fault) {
    if (!(fault instanceof Fault)) throw fault;
    not(`${spoken("Not moved.")} ${fault.message}`);
  } finally {
    back();
    putting = false;
    busy(false);
  }
}

/** Show that the service is at work on the move. */
function busy(now: boolean): void {
  one("#slip-put").textContent = now ? spoken("Putting it there …") : spoken("Put here");
  for (const name of ["put", "pile", "drop"]) one<HTMLButtonElement>(`#slip-${name}`).disabled = now;
}

/** Say why not; a visit that was dragged goes back to its place, one moved by keys stays in hand to be tried elsewhere. */
function refused(text: string): void {
  say(text);
  if (dragged) letGo(false);
}

let dragged = false;
export function byDrag(now: boolean): void {
  dragged = now;
}

function clear(): void {
  clearTimeout(timer);
  asking?.abort();
  held?.visit.classList.remove("picked");
  if (held !== null) sheet.gripOf(held.visit)?.removeAttribute("aria-pressed");
  held = null;
  line.remove();
  for (const old of document.querySelectorAll(".aim")) old.classList.remove("aim");
  for (const old of document.querySelectorAll(".visit.open")) old.classList.remove("open");
  slip().hidden = true;
  slip().classList.remove("held");
  beside(false);
  shown = null;
}

/** Let go of the visit in hand, or close the slip. */
export function letGo(aloud: boolean): void {
  const mine = held;
  clear();
  if (mine === null) return;
  if (aloud) tell(spoken("{visit} let go; it stays where it was.", { visit: sheet.nameOf(mine.visit) }));
  focusOn(mine.id);
}

/** Give the visit's grip the focus. */
export function focusOn(id: string): void {
  const visit = sheet.visitOf(id);
  const grip = visit === null ? null : sheet.gripOf(visit);
  if (grip === null) return;
  rove(grip);
  if (grip.closest("#pile") !== null) beside(false);
  grip.focus();
  // It may have had the focus all the time.
  if (visit !== null) show(visit);
}

/** Make `grip` the one that Tab reaches: the arrows lead on from there. */
export function rove(grip: HTMLElement): void {
  for (const old of sheet.board().querySelectorAll<HTMLElement>('.grip[tabindex="0"]')) old.tabIndex = -1;
  grip.tabIndex = 0;
}

export const spokenOf = (): HTMLElement | null => held?.visit ?? (shown === null ? null : sheet.visitOf(shown));

/** Lock the visit that the slip speaks of to its crew and day, or take its lock off. */
export async function lock(visit: HTMLElement): Promise<void> {
  const id = visit.dataset.visit ?? "";
  const at = sheet.placeOf(visit);
  const address = `/locks/${encodeURIComponent(id)}`;
  const name = sheet.nameOf(visit);
  if ("locked" in visit.dataset) {
    await send("DELETE", address, null, { key: newKey() });
    say(spoken("{name}: no longer locked.", { name }));
  } else if (at !== "pile") {
    await send("PUT", address, { crew: at.crew, day: sheet.dateOf(at.day), start: null }, { key: newKey() });
    say(spoken("{name}: locked. The planner leaves it with this crew on this day.", { name }));
  }
  await sheet.refresh();
  focusOn(id);
}

/** Hold the promised time of a visit more or less firmly; what the service refuses leaves it as it was. */
export async function hold(visit: HTMLElement, how: HTMLSelectElement): Promise<void> {
  const id = visit.dataset.visit ?? "";
  const mark = visit.dataset.promise ?? "";
  const kept = await attempt(() =>
    send("POST", `/jobs/${encodeURIComponent(id)}/hold`, new URLSearchParams({ hold: how.value }), { ifMatch: `"${mark}"` }),
  );
  if (kept) say(spoken("{visit} is promised as {hold}. The next run goes by it.", { visit: sheet.nameOf(visit), hold: how.selectedOptions[0]?.text ?? how.value }));
  await sheet.refresh();
  focusOn(id);
}
