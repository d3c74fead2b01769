// The bench: taps are sent one by one with a key of their own, what others tap is shown as it comes, codes are heard
// anywhere on the page.
import { all, Fault, make, newKey, one, say, send } from "../common.ts";
import { ahead, told, words, type Crate, type Tap } from "../tally.ts";
import { Sight, Wedge } from "../wedge.ts";
import { spoken, spokenFor } from "../spoken.ts";

const POLL_MS = 2000;
const RETRY_MS = 3000;
const LOOK_MS = 250;

/** Hear codes that a scanner types while the focus is anywhere but in the field for them. */
function hear(found: (code: string) => void): void {
  const wedge = new Wedge();
  let before = "";
  document.addEventListener(
    "keydown",
    (event) => {
      if (event.ctrlKey || event.altKey || event.metaKey) return;
      const target = event.target instanceof HTMLElement ? event.target : document.body;
      if (target.id === "code" || target.id === "find") return; // these are sent by Enter anyway
      const field = target instanceof HTMLInputElement || target instanceof HTMLTextAreaElement ? target : null;
      if (wedge.begins(event.timeStamp)) before = field?.value ?? "";
      const code = wedge.key(event.key, event.timeStamp);
      if (code !== null) {
        event.preventDefault();
        event.stopPropagation();
        if (field !== null) field.value = before; // the code is no part of what is written there
        found(code);
      } else if (wedge.running && field === null && event.key === " ") event.preventDefault(); // would press a button
    },
    { capture: true },
  );
}

interface Waiting {
  path: string;
  fields: Record<string, string>;
  tap: Tap | null;
  key: string;
}

/** One crate while it is counted. */
class Counting {
  private readonly queue: Waiting[] = [];
  private sending = false;
  private leaving: (() => void) | null = null; // what was asked for while taps were on their way
  private crate: Crate | null = null;
  private seen = 0;
  private readonly visit: string;
  private readonly count: string;
  private readonly me: string;

  private readonly root: HTMLElement;

  constructor(root: HTMLElement) {
    this.root = root;
    this.visit = root.dataset["visit"] ?? "";
    this.count = root.dataset["count"] ?? "";
    this.me = root.dataset["me"] ?? "";
  }

  begin(): void {
    for (const form of all<HTMLFormElement>("ul.crate form", this.root)) {
      form.addEventListener("submit", (event) => {
        event.preventDefault();
        this.tapped(new FormData(form, event.submitter), form);
      });
    }
    const scan = one<HTMLFormElement>("form.scan", this.root);
    scan.addEventListener("submit", (event) => {
      event.preventDefault();
      const field = one<HTMLInputElement>("#code", scan);
      if (field.value.trim() !== "") this.scan(field.value.trim());
      field.value = "";
    });
    for (const form of all<HTMLFormElement>("form.close, form.condition", this.root)) {
      form.addEventListener("submit", (event) => this.hold(event, form));
    }
    hear((code) => this.scan(code));
    this.offerCamera();
    window.addEventListener("beforeunload", (event) => {
      if (this.queue.length > 0) event.preventDefault();
    });
    void this.poll();
  }

  /** What leaves the page waits for what was tapped: the service must have counted all that is shown as counted. */
  private hold(event: SubmitEvent, form: HTMLFormElement): void {
    if (this.queue.length === 0) return;
    event.preventDefault();
    this.leaving = () => form.requestSubmit(event.submitter);
    say(spoken("Goes on as soon as what you tapped is sent."));
  }

  private tapped(form: FormData, of: HTMLFormElement): void {
    const text = (name: string) => String(form.get(name) ?? "");
    const tap: Tap = {
      item: text("item"),
      pieces: Number(text("pieces")),
      damaged: Number(text("damaged")),
      to: text("to") === "" ? null : Number(text("to")),
    };
    const fields = Object.fromEntries([...form.keys()].filter((k) => k !== "csrf").map((k) => [k, text(k)]));
    if (of.classList.contains("byhand")) of.reset();
    this.add({ path: `/bench/${encodeURIComponent(this.visit)}/taps`, fields, tap, key: newKey() });
  }

  /** Count the piece with this code; `item`: which item it stands for. */
  scan(code: string, item = ""): void {
    one("#which").hidden = true;
    const tap = item === "" ? null : { item, pieces: 1, damaged: 0, to: null };
    const fields = { count: this.count, code, item };
    this.add({ path: `/bench/${encodeURIComponent(this.visit)}/scans`, fields, tap, key: newKey() });
    navigator.vibrate?.(30);
  }

  private add(waiting: Waiting): void {
    this.queue.push(waiting);
    this.show();
    void this.empty();
  }

  /** Send what waits, in order; without a connection it is tried again with the same key, so nothing counts twice. */
  private async empty(): Promise<void> {
    if (this.sending) return;
    this.sending = true;
    for (let next = this.queue[0]; next !== undefined; next = this.queue[0]) {
      try {
        const crate = await send<Crate>("POST", next.path, new URLSearchParams(next.fields), { key: next.key });
        this.queue.shift();
        if (crate.moved_to !== undefined) return this.leave(`/bench/${encodeURIComponent(crate.moved_to)}`);
        this.take(crate);
        if (crate.scanned !== undefined) this.scanned(crate.scanned, next.fields["code"] ?? "");
      } catch (fault) {
        if (!(fault instanceof Fault)) throw fault;
        if (fault.status === 0 || fault.kind === "under-way") {
          say(spoken("{n} not sent yet: {fault}", { n: this.queue.length, fault: fault.message }));
          await new Promise((again) => setTimeout(again, RETRY_MS));
          continue;
        }
        this.queue.shift();
        this.leaving = null; // not all that was tapped is counted: let it be looked at first
        this.show();
        if (typeof fault.members["code"] === "string") this.askWhich(fault.members["code"]);
        else say(fault.message);
        if (fault.members["count_closed"] === true) return this.stop(fault.message);
      }
    }
    this.sending = false;
    this.leaving?.();
    this.leaving = null;
  }

  private leave(address: string): void {
    this.queue.length = 0;
    location.assign(address);
  }

  /** The count is closed: nothing more can be added here, and the page says what to do instead. */
  private stop(why: string): void {
    this.queue.length = 0;
    const back = make("a", { class: "act", href: `/bench/${encodeURIComponent(this.visit)}` }, spoken("See the crate"));
    this.root.replaceChildren(make("p", { class: "falls" }, `▲ ${why} `, back));
    say(why);
  }

  private take(crate: Crate): void {
    if (crate.count === null || String(crate.count.id) !== this.count) {
      if (this.queue.length === 0) this.stop(spoken("This count has been closed."));
      return;
    }
    const known = new Set(all("ul.crate li", this.root).map((row) => row.dataset["item"]));
    if (this.queue.length === 0 && crate.items.some((item) => !known.has(item.item))) return this.leave(location.href);
    const others = crate.lines.filter((line) => line.id > this.seen && line.by !== this.me);
    if (this.crate !== null && others.length > 0) say(others.map((line) => `${line.by}: ${told(line, this.named(line.item))}`).join(". "));
    this.seen = Math.max(this.seen, ...crate.lines.map((line) => line.id));
    this.crate = crate;
    this.show();
  }

  /** What the page, in its reader's language, calls an item. */
  private named(item: string): string {
    const row = all("ul.crate li", this.root).find((one) => one.dataset["item"] === item);
    return row?.querySelector(".what b")?.textContent ?? item;
  }

  private show(): void {
    const crate = this.crate;
    if (crate === null) return;
    const taps = this.queue.map((waiting) => waiting.tap).filter((tap) => tap !== null);
    const items = crate.items.map((item) => ahead(item, taps));
    for (const row of all("ul.crate li", this.root)) {
      const item = items.find((one) => one.item === row.dataset["item"]);
      if (item === undefined) continue;
      one(".of output", row).textContent = String(item.counted);
      one(".hurt output", row).textContent = String(item.damaged);
      const { text, warn } = words(item);
      one(".how", row).replaceChildren(make("span", { class: warn ? "flag" : "" }, text));
    }
    const untouched = items.filter((item) => item.listed > 0 && !item.looked).map((item) => item.item);
    const sum = items.reduce((pieces, item) => pieces + Math.min(item.counted, item.listed), 0);
    one('[data-sum="counted"]').textContent = String(sum);
    const left = spokenFor("○ {n} item not looked at yet", "○ {n} items not looked at yet", untouched.length);
    one('[data-sum="left"]').replaceChildren(
      ...(untouched.length > 0 ? [", ", make("span", { class: "flag" }, left)] : [spoken(", ✓ every item looked at")]),
    );
    one('[data-rest="some"]').hidden = untouched.length === 0;
    one('[data-rest="none"]').hidden = untouched.length > 0;
    one('[data-rest="names"]').textContent = untouched.map((item) => this.named(item)).join(", ");
    one("#taps").replaceChildren(
      ...crate.lines.map((line) =>
        make("li", {}, `${line.when} ${line.by}: ${told(line, this.named(line.item))}${line.code !== "" ? ` ${spoken("(code {code})", { code: line.code })}` : ""}`),
      ),
    );
  }

  private async poll(): Promise<void> {
    for (;;) {
      if (document.visibilityState === "visible" && !this.sending) {
        try {
          const crate = await send<Crate>("GET", `/bench/${encodeURIComponent(this.visit)}`);
          if (!this.sending) this.take(crate);
        } catch (fault) {
          if (!(fault instanceof Fault)) throw fault; // the next look may find it
        }
      }
      await new Promise((again) => setTimeout(again, POLL_MS));
    }
  }

  private scanned(item: string, code: string): void {
    const now = this.crate?.items.find((one) => one.item === item);
    const [n, name] = [now?.counted ?? 1, this.named(item)];
    say(now !== undefined && now.listed > 0 ? spoken("{item}: {n} of {listed}", { item: name, n, listed: now.listed }) : `${name}: ${n}`);
    for (const row of all("ul.crate li", this.root)) row.classList.toggle("just", row.dataset["item"] === item);
    const other = make("button", { type: "button" }, spoken("It is something else"));
    other.addEventListener("click", () => {
      const tap = { item, pieces: -1, damaged: 0, to: null };
      const fields = { count: this.count, item, pieces: "-1" };
      this.add({ path: `/bench/${encodeURIComponent(this.visit)}/taps`, fields, tap, key: newKey() });
      this.askWhich(code);
    });
    const box = one("#which");
    box.replaceChildren(make("p", {}, `${spoken("Code {code} counted as", { code })} `, make("b", {}, name), ". ", other));
    box.hidden = false;
  }

  /** Ask which item a code stands for; the answer is remembered and the piece counted. */
  private askWhich(code: string): void {
    const box = one("#which");
    const items = all("ul.crate li", this.root).map((row) => row.dataset["item"] ?? "");
    const choices = items.map((item) => {
      const button = make("button", { type: "button" }, this.named(item));
      button.addEventListener("click", () => this.scan(code, item));
      return button;
    });
    const leave = make("button", { type: "button" }, spoken("none of them"));
    leave.addEventListener("click", () => (box.hidden = true));
    box.replaceChildren(make("p", {}, spoken("Which item is the code “{code}”?", { code })), ...choices, leave);
    box.hidden = false;
    choices[0]?.focus();
    say(spoken("The code {code} is new: say which item it is.", { code }));
  }

  private offerCamera(): void {
    const Detector = (window as unknown as { BarcodeDetector?: new () => Detects }).BarcodeDetector;
    if (Detector === undefined || navigator.mediaDevices === undefined) return;
    const open = one<HTMLButtonElement>("#camera");
    open.hidden = false;
    open.addEventListener("click", () => void this.look(new Detector()));
  }

  private async look(detector: Detects): Promise<void> {
    let stream: MediaStream;
    try {
      stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
    } catch {
      say(spoken("The camera cannot be used: allow it for this page, or type the code."));
      return;
    }
    const eye = one("#eye");
    const video = one<HTMLVideoElement>("video", eye);
    const sight = new Sight();
    video.srcObject = stream;
    await video.play();
    eye.hidden = false;
    one("#eye-shut").onclick = () => (eye.hidden = true);
    while (!eye.hidden && eye.isConnected) {
      const codes = (await detector.detect(video)).map((found) => found.rawValue).filter((code) => code !== "");
      for (const code of sight.codes(codes, performance.now())) this.scan(code);
      await new Promise((again) => setTimeout(again, LOOK_MS));
    }
    for (const track of stream.getTracks()) track.stop();
  }
}

/** As far as it is used here: the types of browsers do not know it yet. */
interface Detects {
  detect(source: HTMLVideoElement): Promise<{ rawValue: string }[]>;
}

const counting = document.querySelector<HTMLElement>("#counting");
if (counting !== null) new Counting(counting).begin();
else hear((code) => location.assign(`/bench?find=${encodeURIComponent(code)}`));
