// The day sheet on a phone: everything noted goes into the queue first, and from there to the service when it answers.
import { all, ask, csrf, make, newKey, one, say } from "../common.ts";
import { drawings } from "../day/drawing.ts";
import { allTheSame, sendAll, signalWords, type Ended, type Entry } from "../day/queue.ts";
import { shrink } from "../day/shrink.ts";
import { after, changes, newer, withWaiting, type DayState } from "../day/state.ts";
import { forgetOtherStates, keepState, lastState, notes } from "../day/store.ts";
import { transport } from "../day/transport.ts";
import { notLoaded, OUTCOMES, section, show, showRefused } from "../day/view.ts";

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
  state = newer(await lastState(page), shown);
  if (day.dataset["link"] === "yes") await forgetOtherStates(page);
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
  void keepHere();
  await send();
}

/** Show the page as it stands: what the service told last, with everything that waits. */
async function refresh(): Promise<void> {
  const entries = (await notes.all()).filter((entry) => entry.page === page);
  const waiting = entries.filter((entry) => entry.refusal === undefined);
  show(withWaiting(state, entries), waiting);
  showRefused(entries.filter((entry) => entry.refusal !== undefined), (entry, what) => void decide(entry, what));
  if (!writes) return;
  const words = signalWords(waiting.length, entries.length - waiting.length, ended, sentAt);
  const place = one("#signal-words");
  const others = (await notes.all()).filter((entry) => entry.page !== page);
  const more = others.length === 0 ? "" : ` ${others.length} more of another day sheet wait on this phone: open that one to send them.`;
  if (place.textContent !== `${words}.${more}`) place.replaceChildren(`${words}.${more}`);
  const signal = one("#signal");
  signal.dataset["how"] = ended === "through" || ended === "sending" ? "good" : "bad";
  one("#send-now").hidden = waiting.length === 0;
  let help = signal.querySelector<HTMLElement>(".help");
  if (ended === "signed out" && help === null) {
    const link = make("a", { href: `/sign-in?next=${encodeURIComponent(page)}` }, "sign in");
    help = make("p", { class: "help" }, "This phone's link is over or revoked. What is noted stays here: open a new link of the office, or ", link, ", and it is sent.");
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
      showChanges(["The week is withdrawn: nothing is posted for this day. Call the office."]);
      return;
    }
    localStorage.setItem("clock", String(Date.parse(now.now) - Date.now()));
    const photos = JSON.stringify(state.photos);
    state = now;
    await keepState(page, state);
    if (now.posted !== shown.posted) showChanges(changes(shown.stops, now.stops));
    if (JSON.stringify(now.photos) !== photos) void keepHere();
  } catch {
    ended = "no signal";
  }
}

function showChanges(sentences: string[]): void {
  const place = one("#changed");
  place.hidden = false;
  const button = make("button", { type: "button", class: "big" }, "Show the new day");
  button.addEventListener("click", () => location.reload());
  const words = sentences.length === 0 ? ["Your stops are as they were."] : sentences;
  place.replaceChildren(
    make("h2", { id: "changed-title" }, `▲ The week was posted anew`),
    make("ul", {}, ...words.map((sentence) => make("li", {}, sentence))),
    make("p", {}, "What you have noted and typed stays.", " "),
    button,
  );
  if (sentences.length > 0) speak("The week was posted anew: see the top of the page.");
}

/** Put something noted into the queue, and send it if the service answers; returns whether there was room for it. */
async function note(
  path: string, thing: string, words: string, body: Record<string, unknown>, more: { photo?: Blob; corrects?: string } = {},
): Promise<boolean> {
  try {
    await notes.add({ key: newKey(), page, thing, path, words, body: { ...body, at: serviceTime() }, ...more });
  } catch {
    speak("This phone has no room left: that was not noted. Send what waits, or make room.");
    await refresh();
    return false;
  }
  void navigator.storage?.persist?.();
  await refresh();
  void send();
  return true;
}

async function decide(entry: Entry, what: "again" | "all the same" | "drop"): Promise<void> {
  if (what === "drop") {
    if (!(await ask(`Drop “${entry.words}”?`, { yes: "Drop it" }))) return;
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

let silence: ReturnType<typeof setTimeout> | undefined;

/** Say something at the foot of the page for a while: it lies over what the crew works on. */
function speak(text: string): void {
  say(text);
  clearTimeout(silence);
  silence = setTimeout(() => one("#said").replaceChildren(), 8000);
}

function localClock(): string {
  const at = new Date(Date.now() + Number(localStorage.getItem("clock") ?? 0));
  const [hour, minute] = at
    .toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit", timeZone: day.dataset["timezone"] ?? "UTC" })
    .split(":");
  return `${Number(hour)}:${minute}`;
}

function minutes(time: string): number | null {
  const [hour, minute] = time.split(":").map(Number);
  return time === "" || hour === undefined || minute === undefined ? null : hour * 60 + minute;
}

function listen(): void {
  for (const stop of all(".stop")) {
    const visit = stop.dataset["visit"] ?? "";
    listenToKit(stop, visit);
    listenToSteps(stop, visit);
    listenToPhotos(stop, visit);
    listenToResult(stop, visit);
  }
  document.querySelector("#out")?.addEventListener("click", () => void goOut());
  document.querySelector("#back")?.addEventListener("click", () => void note(`${page}/back`, "route", "back in the yard", {}));
  for (const field of all<HTMLInputElement>("[data-draft]")) field.addEventListener("input", () => keepDraft(field));
  for (const field of all<HTMLInputElement>("#day [data-asleep]")) field.disabled = false;
}

function listenToKit(stop: HTMLElement, visit: string): void {
  const tick = (items: string[], on: boolean): void => {
    const what = items.length === 1 ? (items[0] ?? "") : `${items.length} items`;
    void note(`${page}/ticks`, `load ${visit}`, `${visit}: ${what} ${on ? "on the van" : "off the van"}`, { visit, items, on });
  };
  for (const box of all<HTMLInputElement>("[data-item]", stop)) {
    box.addEventListener("change", () => tick([box.dataset["item"] ?? ""], box.checked));
  }
  for (const button of all("[data-all]", stop)) {
    button.addEventListener("click", () => {
      const boxes = all<HTMLInputElement>("[data-item]", button.closest("fieldset") ?? stop).filter((box) => !box.checked);
      if (boxes.length > 0) tick(boxes.map((box) => box.dataset["item"] ?? ""), true);
    });
  }
}

function listenToSteps(stop: HTMLElement, visit: string): void {
  for (const line of all("[data-step]", stop)) {
    const step = line.dataset["step"] ?? "";
    const box = one<HTMLInputElement>("[data-sign]", line);
    const field = one<HTMLInputElement>("[data-note]", line);
    const sign = async (signed: boolean): Promise<void> => {
      const words = field.value.trim();
      const told = signed ? `signed${words === "" ? "" : `, not in order: ${words}`}` : "signature taken back";
      const body = { visit, step, signed, note: signed ? words : "" };
      if (await note(`${page}/steps`, `visit ${visit}`, `${visit}, ${step}: ${told}`, body)) dropDraft(field);
    };
    box.addEventListener("change", () => void sign(box.checked));
    field.addEventListener("change", () => void sign(box.checked || field.value.trim() !== ""));
  }
}

function listenToPhotos(stop: HTMLElement, visit: string): void {
  const input = stop.querySelector<HTMLInputElement>("[data-photo]");
  input?.addEventListener("change", async () => {
    const file = input.files?.[0];
    if (file === undefined) return;
    const caption = one<HTMLInputElement>("[data-caption]", stop);
    let photo: Blob;
    try {
      photo = await shrink(file);
    } catch {
      speak("This phone cannot read that picture: take it as JPEG.");
      return;
    } finally {
      input.value = "";
    }
    const shows = one<HTMLSelectElement>("[data-shows]", stop).value;
    const words = caption.value.trim();
    const path = `/jobs/${encodeURIComponent(visit)}/photos`;
    const thing = `photo ${visit} ${newKey()}`;
    if (await note(path, thing, `${visit}: photo of the ${shows}`, { shows, caption: words }, { photo })) {
      caption.value = "";
      dropDraft(caption);
    }
  });
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
  const outcome = new FormData(form).get("outcome");
  const [start, end, why] = [minutes(field("start").value), minutes(field("end").value), field("why").value.trim()];
  const fault = one("[data-fault]", form);
  const wrong = (words: string, at?: HTMLElement): void => {
    fault.textContent = `▲ ${words}`;
    speak(words);
    at?.focus();
  };
  if (typeof outcome !== "string") return wrong("Say what became of it: done, partly done or not done.");
  if (outcome !== "done" && why === "") return wrong("Say because of what it could not be finished.", field("why"));
  if (outcome !== "not_done" && start === null) return wrong("Say when the work began.", field("start"));
  if (outcome !== "not_done" && end === null) return wrong("Say when the work ended.", field("end"));
  if (start !== null && end !== null && end < start) return wrong("It cannot have ended before it began.", field("end"));
  const open = all("[data-step]", stop).filter((line) => !one<HTMLInputElement>("[data-sign]", line).checked);
  if (outcome === "done" && open.length > 0) {
    const names = open.map((line) => line.dataset["step"]).join("; ");
    return wrong(`Not signed yet: ${names}. Sign each, or say there what is not in order.`, one("[data-sign]", open[0]));
  }
  fault.textContent = "";
  const earlier = (await notes.all()).filter((one) => one.path === `${page}/results` && one.body["visit"] === visit).at(-1);
  const body = { visit, outcome, start, end, why, replaces: earlier?.body["replaces"] ?? state.results[visit]?.id ?? null };
  const words = `${visit}: ${OUTCOMES[outcome] ?? outcome}${outcome === "done" || why === "" ? "" : `, because ${why}`}`;
  const noted = await note(`${page}/results`, `visit ${visit}`, words, body, earlier === undefined ? {} : { corrects: earlier.key });
  if (!noted) return;
  for (const name of ["start", "end", "why"]) dropDraft(field(name));
  form.reset();
  speak(`${words}.`);
  one("[data-told]", section(visit)).scrollIntoView({ block: "center" });
}

async function goOut(): Promise<void> {
  const lacking = notLoaded();
  const by = one<HTMLInputElement>("#overruled-by");
  const why = one<HTMLInputElement>("#overruled-why");
  const refused = (await notes.all()).filter((one) => one.path === `${page}/out` && one.refusal !== undefined);
  const asks = lacking.length > 0 || refused.length > 0;
  one("#overrule").hidden = !asks;
  const words = one("#not-loaded");
  words.textContent = lacking.length > 0 ? `▲ Not on the van: ${lacking.join(", ")}. Load it, or say who lets the van leave without it, and why.` : "";
  const [name, reason] = [by.value.trim(), why.value.trim()];
  if (asks && (name === "" || reason === "") && !(lacking.length === 0 && name === reason)) {
    speak("Not everything is on the van.");
    (name === "" ? by : why).focus();
    return;
  }
  for (const old of refused) await notes.remove(old.n); // this one stands in its place
  const body = { overruled_by: asks ? name : "", overruled_why: asks ? reason : "" };
  if (await note(`${page}/out`, "route", name === "" || !asks ? "route out" : `route out, ${name}: ${reason}`, body)) {
    dropDraft(by);
    dropDraft(why);
  }
}

// Drafts: what is typed and not noted yet, for reloads and for a day posted anew.
function draftKey(field: HTMLElement): string {
  return `draft ${page} ${field.dataset["draft"] || field.id}`;
}

function keepDraft(field: HTMLInputElement): void {
  field.dataset["typed"] = "";
  try {
    localStorage.setItem(draftKey(field), field.value);
  } catch {
    // No room: it stays in the field, and goes with the page.
  }
}

function dropDraft(field: HTMLElement): void {
  delete field.dataset["typed"];
  localStorage.removeItem(draftKey(field));
}

function restoreDrafts(): void {
  for (const field of all<HTMLInputElement>("[data-draft]")) {
    const draft = localStorage.getItem(draftKey(field));
    if (draft === null) continue;
    field.value = draft;
    field.dataset["typed"] = "";
  }
}

/** Have the worker keep this page and all that it shows. */
async function keepHere(): Promise<void> {
  if (!("serviceWorker" in navigator)) return;
  try {
    await navigator.serviceWorker.register("/crews/day-worker.js");
    const { active } = await navigator.serviceWorker.ready;
    const urls = [
      ...all<HTMLLinkElement>("link[rel=stylesheet]").map((link) => link.href),
      ...all<HTMLScriptElement>("script[src]").map((script) => script.src),
      ...all<HTMLImageElement>(".pane img").map((picture) => picture.src),
      ...Object.values(state.photos).flat().map((photo) => `${location.origin}/photos/${photo.id}`),
    ];
    const channel = new MessageChannel();
    channel.port1.onmessage = (event) => {
      day.dataset["kept"] = event.data === true ? "yes" : "no";
      one("#kept").textContent = event.data === true
        ? "✓ This day is kept on this phone and opens without signal."
        : "▲ This day could not be kept on this phone: leave the page open.";
    };
    active?.postMessage({ do: "keep", page, urls, alone: day.dataset["link"] === "yes" }, [channel.port2]);
  } catch {
    one("#kept").textContent = "▲ This browser keeps nothing for use without signal: leave the page open, or take the paper along.";
  }
}

function tell(message: Record<string, unknown>): void {
  if (!("serviceWorker" in navigator)) return;
  void navigator.serviceWorker.getRegistration("/crews/").then((registration) => registration?.active?.postMessage(message));
}

await begin();
