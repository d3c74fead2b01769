// Keeps what is typed into the office's forms on the device, and offers it back after a session has ended, a refusal
// or the back button; it is forgotten when it is saved, and at signing out.
import { all, make } from "../common.ts";
import { clock } from "../words.ts";
import { brings, forget, fields, keyOf, load, putBack, same, save, values, type Unsent } from "../unsent.ts";
import { spoken } from "../spoken.ts";

const SENT = "unsent, sent just now"; // of this tab: what was sent, until the next page says what came of it
const AFTER_MS = 300;

function meta(name: string): string | undefined {
  return document.querySelector<HTMLMetaElement>(`meta[name="${name}"]`)?.content;
}

/** Say whether this page is what follows on something that was saved. */
function savedJustNow(): boolean {
  const [came] = performance.getEntriesByType("navigation") as PerformanceNavigationTiming[];
  const answered = meta("posted") !== undefined || (came?.redirectCount ?? 0) > 0;
  return meta("who") !== undefined && meta("refused") === undefined && came?.type === "navigate" && answered;
}

function said(at: number): string {
  const then = new Date(at);
  const time = clock(then.getHours() * 60 + then.getMinutes());
  if (then.toDateString() === new Date().toDateString()) return time;
  const day = then.toLocaleDateString(document.documentElement.lang === "en" ? "en-US" : document.documentElement.lang, { weekday: "long", month: "long", day: "numeric" });
  return spoken("{time} on {day}", { time, day });
}

function watch(form: HTMLFormElement, key: string): void {
  const came = values(form);
  let older = load(localStorage, key, Date.now());
  let timer: number | undefined;
  let offer: HTMLElement | undefined;
  // A form that was refused comes back as it was typed, and with what was found for it: there is nothing to put back.
  const lost = meta("refused") === undefined ? (kept: Unsent) => !same(kept.values, came) : (kept: Unsent) => brings(kept.values, came);
  if (older && lost(older)) offer = offered(older);

  function offered(kept: Unsent): HTMLElement {
    const back = make("button", { type: "button" }, spoken("Put it back"));
    const away = make("button", { type: "button" }, spoken("Throw it away"));
    const line = make("p", { class: "unsent", role: "status" }, `${spoken("You had typed this at {when}:", { when: said(kept.at) })} `, back, " ", away);
    back.addEventListener("click", () => {
      putBack(form, kept.values);
      older = kept.before;
      line.remove();
      fields(form)[0]?.focus();
    });
    away.addEventListener("click", () => {
      line.remove();
      older = kept.before;
      if (older) {
        save(localStorage, key, older);
        offer = offered(older);
      } else localStorage.removeItem(key);
    });
    form.before(line);
    return line;
  }

  function keep(): void {
    window.clearTimeout(timer);
    timer = undefined;
    const now = values(form);
    const before = offer?.isConnected ? older : undefined;
    if (!same(now, came)) save(localStorage, key, { at: Date.now(), values: now, before });
    else if (!before) localStorage.removeItem(key);
  }

  form.addEventListener("input", () => {
    window.clearTimeout(timer);
    timer = window.setTimeout(keep, AFTER_MS);
  });
  form.addEventListener("change", keep);
  window.addEventListener("pagehide", () => {
    if (timer !== undefined) keep();
  });
  form.addEventListener("submit", () => {
    if (timer !== undefined) keep();
    sessionStorage.setItem(SENT, key);
  });
}

const who = meta("who");
const sent = sessionStorage.getItem(SENT);
sessionStorage.removeItem(SENT);
if (sent !== null && savedJustNow()) localStorage.removeItem(sent);
if (who !== undefined) {
  const seen = new Map<string, number>();
  for (const form of all<HTMLFormElement>("main form[method=post]")) {
    if (fields(form).length === 0 || form.dataset["shelf"] !== undefined) continue; // a survey keeps its own text
    const key = keyOf(who, form, location.pathname + location.search);
    const nth = seen.get(key) ?? 0;
    seen.set(key, nth + 1);
    watch(form, nth === 0 ? key : `${key} ${nth}`);
  }
  document.querySelector("form.out")?.addEventListener("submit", () => forget(localStorage, who));
}
