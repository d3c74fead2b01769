// The day sheet on a phone: everything noted goes into the queue first, and from there to the service when it answers.
import { all, ask, csrf, make, newKey, one } from "../common.ts";
import { dropDraft, keepDraft, restoreDrafts } from "../day/drafts.ts";
import { drawings } from "../day/drawing.ts";
import { nextAt, type Next } from "../day/flow.ts";
import { listenToLifts } from "../day/lift.ts";
import { listenToLoads } from "../day/load.ts";
import { allTheSame, crewOf, handIn, sendAll, signalWords, type Ended, type Entry } from "../day/queue.ts";
import { keepHere } from "../day/kept.ts";
import { listenToPhotos } from "../day/photo.ts";
import { beginRail, goTo } from "../day/rail.ts";
import { listenToPad } from "../day/signature.ts";
import { after, changes, liftChanges, loadChanges, newer, withWaiting, type DayState } from "../day/state.ts";
import { Settled } from "../day/settled.ts";
import { forgetOtherStates, keepState, lastState, notes } from "../day/store.ts";
import { showChanges, speak } from "../day/told.ts";
import { transport } from "../day/transport.ts";
import { listenToVan } from "../day/van.ts";
import { viewers } from "../day/viewer.ts";
import { spoken, spokenFor } from "../spoken.ts";
import { itemName, localTime, LOSSES, OUTCOMES, section, show, showRefused, stepName, stepsOf } from "../day/view.ts";

const EVERY_MS = 20_000;
const day = one("#day");
const page = location.pathname;
const writes = day.dataset["writes"] === "yes";
const shown = JSON.parse(one("#state").textContent ?? "null") as DayState;
const way = transport(csrf());

let state = shown;
let ended: Ended | "sending" = "through";
let sentAt = localStorage.getItem(`sent ${page}`) ?? "";

async function begin(): Promise<void> {
  // First what hands may touch: nothing that is tapped while the page wakes up goes astray.
  restoreDrafts();
  if (writes) listen();
  drawings();
  viewers();
  // The browser may clear what is kept for want of room, unless it is asked not to before it matters.
  void navigator.storage?.persist?.();
  state = newer(await lastState(page), shown);
  if (day.dataset["link"] === "yes") await forgetOtherStates(page);
  beginRail(whereTheDayIs());
  await refresh();
  addEventListener("online", () => void send());
  addEventListener("offline", () => void noSignal());
  addEventListener("focus", () => void send());
  document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && void send());
  addEventListener("beforeprint", () => all<HTMLDetailsElement>("#day details").forEach((part) => (part.open = true)));
  new BroadcastChannel("day-notes").addEventListener("message", (event) => {
    if (event.data !== page) return;
    allSentNow(); // by the worker, which the browser has woken
    void send();
  });
  one("#send-now").addEventListener("click", () => void send());
  document.querySelector("form.out")?.addEventListener("submit", () => tell({ do: "forget" }));
  setInterval(() => void send(), EVERY_MS);
  void keepHere(state);
  await send();
}

const settled = new Settled();

/** Show the page as it stands: what the service told last, with everything that waits. */
async function refresh(): Promise<void> {
  const every = await settled.read(() => notes.all());
  const entries = every.filter((entry) => entry.page === page);
  const waiting = entries.filter((entry) => entry.refusal === undefined);
  together = withWaiting(state, entries);
  show(together, waiting);
  const refused = every.filter((entry) => entry.refusal !== undefined && crewOf(entry.page) === crewOf(page));
  showRefused(refused, (entry, what) => void decide(entry, what));
  if (!writes) return;
  const words = signalWords(waiting.length, entries.length - waiting.length, ended, sentAt);
  const place = one("#signal-words");
  const others = every.filter((entry) => entry.page !== page && (entry.refusal === undefined || crewOf(entry.page) !== crewOf(page)));
  const more = others.length === 0 ? "" : ` ${spokenFor("{n} more of another day sheet waits on this phone: open that one to send it.", "{n} more of another day sheet wait on this phone: open that one to send them.", others.length)}`;
  if (place.textContent !== `${words}.${more}`) place.replaceChildren(`${words}.${more}`);
  const signal = one("#signal");
  signal.dataset["how"] = ended === "through" || ended === "sending" ? "good" : "bad";
  one("#send-now").hidden = waiting.length === 0;
  let help = signal.querySelector<HTMLElement>(".help");
  if (ended === "signed out" && help === null) {
    const link = make("a", { href: `/sign-in?next=${encodeURIComponent(page)}` }, spoken("Sign in"));
    help = make("p", { class: "help" }, spoken("This phone's link is over or revoked. What is noted stays here, and is sent once you open a new link of the office or sign in."), " ", link);
    signal.append(help);
  } else if (ended !== "signed out") help?.remove();
}

async function noSignal(): Promise<void> {
  ended = "no signal";
  await refresh();
}

let sending: Promise<void> | undefined;

/** Send what waits; a second call while one is under way waits for a round of its own. */
function send(): Promise<void> {
  sending = (sending ?? Promise.resolve()).then(round, round);
  return sending;
}

async function round(): Promise<void> {
  const any = async (): Promise<boolean> => (await notes.all()).some((entry) => entry.page === page && entry.refusal === undefined);
  if (writes && (await any())) {
    ended = "sending";
    await refresh();
    // One sender at a time: another tab, or the worker, may have the same queue.
    ended = await navigator.locks.request("day-notes", () =>
      sendAll(notes, page, way, async (entry) => {
        state = after(state, entry);
        await keepState(page, state);
        allSentNow();
        await refresh();
      }),
    );
  }
  // What waits of days before this one, of which nobody sees the sheet any more.
  if (writes && ended === "through") await navigator.locks.request("day-notes", () => handIn(notes, page, way));
  if (ended === "through" || !(await any())) await look();
  else if (ended === "no signal") tell({ do: "sync" }); // where the browser has it, it sends even with the page closed
  await refresh();
}

function allSentNow(): void {
  sentAt = localClock();
  localStorage.setItem(`sent ${page}`, sentAt);
}

/** Ask how far the day is, and whether the week was posted anew. */
async function look(): Promise<void> {
  try {
    const answer = await fetch(`${page}/state`, { headers: { Accept: "application/json" }, credentials: "same-origin", cache: "no-store" });
    if (answer.status === 401 || answer.status === 404) {
      ended = "signed out";
      tell({ do: "forget", page });
      await keepState(page, undefined);
      return;
    }
    if (!answer.ok) throw new TypeError(`the service answered ${answer.status}`);
    ended = "through";
    const now = (await answer.json()) as DayState | null;
    if (now === null) {
      showChanges([spoken("The week is withdrawn: nothing is posted for this day. Call the office.")]);
      return;
    }
    localStorage.setItem("clock", String(Date.parse(now.now) - Date.now()));
    const photos = JSON.stringify(state.photos);
    state = now;
    await keepState(page, state);
    if (now.posted !== shown.posted) showChanges([...changes(shown.stops, now.stops), ...liftChanges(shown, now), ...loadChanges(shown, now)]);
    if (JSON.stringify(now.photos) !== photos) void keepHere(state);
  } catch {
    ended = "no signal";
  }
}

/** Put something noted into the queue, and send it if the service answers; returns whether there was room for it. */
async function note(
  path: string, thing: string, words: string, body: Record<string, unknown>, more: { photo?: Blob; corrects?: string } = {},
): Promise<boolean> {
  try {
    await settled.write(notes.add({ key: newKey(), page, thing, path, words, body: { ...body, at: serviceTime() }, ...more }));
  } catch {
    speak(spoken("This phone has no room left: that was not noted. Send what waits, or make room."));
    await refresh();
    return false;
  }
  await refresh();
  void send();
  return true;
}

async function decide(entry: Entry, what: "again" | "all the same" | "drop"): Promise<void> {
  if (what === "drop") {
    if (!(await ask(spoken("Drop “{note}”?", { note: entry.words }), { yes: spoken("Drop it"), no: spoken("Leave it") }))) return;
    await notes.remove(entry.n);
  } else {
    const { refusal: _, ...rest } = entry;
    const body = what === "all the same" ? allTheSame(entry) : entry.body;
    // What is asked otherwise is another write, with a key of its own.
    await notes.put({ ...rest, tries: 0, body, key: body === entry.body ? entry.key : newKey() });
  }
  await refresh();
  void send();
}

/** Return the moment as the service's clock has it: the demo's differs, and a phone's may be wrong. */
function serviceTime(): string {
  return new Date(Date.now() + Number(localStorage.getItem("clock") ?? 0)).toISOString();
}

function localClock(): string {
  return localTime(serviceTime());
}

/**
 * Return the part of the day that the crew is at: the yard until it has left, then the first stop without a result, or
 * the load before that while nothing is noted of the stop.
 */
function whereTheDayIs(): string {
  const left = state.stops.find((stop) => state.results[stop.visit] === undefined);
  if (state.out === null) return "load";
  if (left === undefined) return "yard";
  const before = section(left.visit).previousElementSibling;
  const set = Object.keys(state.times?.[left.visit] ?? {}).length > 0;
  const loaded = state.load_times?.[(before as HTMLElement | null)?.dataset["load"] ?? ""]?.loaded !== undefined;
  return before?.matches(".load") === true && !set && !loaded ? before.id : `stop-${left.visit}`;
}

function minutes(time: string): number | null {
  const [hour, minute] = time.split(":").map(Number);
  return time === "" || hour === undefined || minute === undefined ? null : hour * 60 + minute;
}

function listen(): void {
  for (const stop of all(".stop")) {
    const visit = stop.dataset["visit"] ?? "";
    const next = one<HTMLButtonElement>("[data-next]", stop);
    next.addEventListener("click", () => {
      next.disabled = true; // a second tap of a hasty thumb does nothing
      void goOn(stop, visit, next.dataset["next"] as Next).finally(() => setTimeout(() => (next.disabled = false), 400));
    });
    one("[data-undo]", stop).addEventListener("click", () => void undoTime(visit));
    listenToSteps(stop, visit);
    listenToPhotos(stop, visit, note);
    listenToPad(stop, visit, page, note);
    listenToLosses(stop, visit);
    listenToResult(stop, visit);
  }
  listenToLifts(page, note, () => together, (panel) => void toTheNext(panel));
  listenToLoads(page, note, () => together, (panel) => void toTheNext(panel));
  listenToVan(page, note, () => state.stops[0]?.visit);
  document.querySelector("#back")?.addEventListener("click", () => void note(`${page}/back`, "route", spoken("back in the yard"), {}));
  for (const field of all<HTMLInputElement>("[data-draft]")) field.addEventListener("input", () => keepDraft(field));
  for (const field of all<HTMLInputElement>("#day [data-asleep]")) field.disabled = false;
}

/** Do what comes next at a stop, as its large button says. */
async function goOn(stop: HTMLElement, visit: string, what: Next): Promise<void> {
  if (what === "on_way" || what === "here") await noteTime(visit, what, true);
  else if (what === "sign") {
    for (const line of all("[data-step]", stop)) {
      if (!one<HTMLInputElement>("[data-sign]", line).checked) await sign(visit, line, true);
    }
  } else if (what === "done") {
    await noteResult(visit, "done", beginning(visit), minutes(localClock()), "");
  } else {
    await toTheNext(stop);
  }
}

/** Go to the panel after `from`; of a visit of its own the crew says that it is on its way. */
async function toTheNext(from: HTMLElement): Promise<void> {
  const panel = from.nextElementSibling as HTMLElement | null;
  const next = panel?.dataset["visit"];
  if (next !== undefined && nextAt(await standing(), next, stepsOf(section(next))) === "on_way") await noteTime(next, "on_way", true);
  goTo(panel?.id ?? "yard");
}

function noteTime(visit: string, what: "on_way" | "here", noted: boolean): Promise<boolean> {
  const words = what === "here" ? [spoken("we are here"), spoken("not here yet")] : [spoken("on our way"), spoken("not on our way")];
  return note(`${page}/times`, `visit ${visit}`, `${visit}: ${words[noted ? 0 : 1] ?? ""}`, { visit, what, noted });
}

async function undoTime(visit: string): Promise<void> {
  const times = (await standing()).times?.[visit] ?? {};
  await noteTime(visit, times["here"] === undefined ? "on_way" : "here", false);
}

/** Return how far the day is with all that waits. */
async function standing(): Promise<DayState> {
  return withWaiting(state, (await notes.all()).filter((entry) => entry.page === page));
}

let together: DayState = shown;

/** Return when the work at a visit began, by the tap on "here"; null where nobody tapped. */
function beginning(visit: string): number | null {
  const here = together.times?.[visit]?.["here"];
  return here === undefined ? null : minutes(localTime(here));
}

function listenToSteps(stop: HTMLElement, visit: string): void {
  for (const line of all("[data-step]", stop)) {
    const box = one<HTMLInputElement>("[data-sign]", line);
    const field = one<HTMLInputElement>("[data-note]", line);
    box.addEventListener("change", () => void sign(visit, line, box.checked));
    field.addEventListener("change", () => void sign(visit, line, box.checked || field.value.trim() !== ""));
  }
}

async function sign(visit: string, line: HTMLElement, signed: boolean): Promise<void> {
  const step = line.dataset["step"] ?? "";
  const field = one<HTMLInputElement>("[data-note]", line);
  const words = field.value.trim();
  const bad = words === "" ? spoken("signed") : spoken("signed, not in order: {words}", { words });
  const told = signed ? bad : spoken("signature taken back");
  const body = { visit, step, signed, note: signed ? words : "" };
  if (await note(`${page}/steps`, `visit ${visit}`, `${visit}, ${stepName(line)}: ${told}`, body)) dropDraft(field);
}

function listenToLosses(stop: HTMLElement, visit: string): void {
  for (const line of all("[data-loss]", stop)) {
    const item = line.dataset["loss"] ?? "";
    for (const box of all<HTMLInputElement>("[data-lose]", line)) {
      const what = box.dataset["lose"] ?? "";
      box.addEventListener("change", () => {
        const typed = Number(line.querySelector<HTMLInputElement>("[data-pieces]")?.value ?? 1);
        const pieces = Math.min(Math.max(1, Math.round(typed) || 1), Number(line.dataset["listed"] ?? 1));
        const state = LOSSES[what] ?? what;
        const told = box.checked ? state : spoken("not {state}", { state });
        const words = `${visit}: ${pieces} × ${itemName(stop, item)} ${told}`;
        const body = { visit, item, what, pieces, noted: box.checked };
        void note(`${page}/losses`, `loss ${visit} ${item} ${what}`, words, body).then((noted) => noted && speak(`${words}.`));
      });
    }
  }
}

function listenToResult(stop: HTMLElement, visit: string): void {
  const form = stop.querySelector<HTMLFormElement>("[data-result]");
  if (form === null) return;
  const field = (name: string): HTMLInputElement => form.elements.namedItem(name) as HTMLInputElement;
  for (const button of all("[data-now]", form)) {
    button.addEventListener("click", () => {
      const time = field(button.dataset["now"] ?? "");
      time.value = localClock().padStart(5, "0");
      keepDraft(time);
    });
  }
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    void tellResult(stop, visit, form, field);
  });
}

async function tellResult(
  stop: HTMLElement, visit: string, form: HTMLFormElement, field: (name: string) => HTMLInputElement,
): Promise<void> {
  const tapped = new FormData(form);
  const reasons = [...tapped.getAll("reason").map(String), field("why").value.trim()].filter((words) => words !== "");
  const here = beginning(visit);
  // Reasons alone say enough: begun where the crew was there, else not.
  const outcome = tapped.get("outcome") ?? (reasons.length > 0 ? (here === null ? "not_done" : "partly") : null);
  const [start, why] = [minutes(field("start").value) ?? (outcome === "not_done" ? null : here), reasons.join("; ")];
  const end = minutes(field("end").value) ?? (start === null ? null : minutes(localClock()));
  const left = outcome === "partly" && field("left").value !== "" ? Number(field("left").value) : null;
  const fault = one("[data-fault]", form);
  const wrong = (words: string, at?: HTMLElement): void => {
    fault.textContent = `▲ ${words}`;
    speak(words);
    at?.focus();
  };
  if (typeof outcome !== "string") return wrong(spoken("Tap what was in the way, or whether it is partly done or not done."));
  if (outcome !== "done" && why === "") return wrong(spoken("Say because of what it could not be finished."), field("why"));
  if (outcome !== "not_done" && start === null) return wrong(spoken("Say when the work began."), field("start"));
  if (outcome !== "not_done" && end === null) return wrong(spoken("Say when the work ended."), field("end"));
  if (outcome === "partly" && left === null) return wrong(spoken("Say how long what is left takes: a visit is made for it."), field("left"));
  if (start !== null && end !== null && end < start) return wrong(spoken("It cannot have ended before it began."), field("end"));
  const open = all("[data-step]", stop).filter((line) => !one<HTMLInputElement>("[data-sign]", line).checked);
  if (outcome === "done" && open.length > 0) {
    const names = open.map(stepName).join("; ");
    return wrong(spoken("Not signed yet: {names}. Sign each, or say there what is not in order.", { names }), one("[data-sign]", open[0]));
  }
  fault.textContent = "";
  if (!(await noteResult(visit, outcome, start, end, why, left))) return;
  for (const name of ["start", "end", "why"]) dropDraft(field(name));
  form.reset();
  scrollTo(0, 0);
}

async function noteResult(visit: string, outcome: string, start: number | null, end: number | null, why: string, left: number | null = null): Promise<boolean> {
  const earlier = (await notes.all()).filter((one) => one.path === `${page}/results` && one.body["visit"] === visit).at(-1);
  const body = { visit, outcome, start, end, why, left_min: left, replaces: earlier?.body["replaces"] ?? state.results[visit]?.id ?? null };
  const words = `${visit}: ${OUTCOMES[outcome] ?? outcome}${outcome === "done" || why === "" ? "" : `, ${spoken("because {why}", { why })}`}`;
  const noted = await note(`${page}/results`, `visit ${visit}`, words, body, earlier === undefined ? {} : { corrects: earlier.key });
  if (noted) speak(`${words}.`);
  return noted;
}

function tell(message: Record<string, unknown>): void {
  if (!("serviceWorker" in navigator)) return;
  void navigator.serviceWorker.getRegistration("/crews/").then((registration) => registration?.active?.postMessage(message));
}

await begin();
