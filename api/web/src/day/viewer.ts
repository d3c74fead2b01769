// The wall drawing over the whole screen, lying: a swipe goes on to the next bracket.
import { all, make, one } from "../common.ts";
import { spoken } from "../spoken.ts";

const NEAR = 2.6;
const SWIPE = 40; // points of the screen; less is a shaky thumb

interface Bracket {
  x: number;
  y: number;
  words: string;
}

/** Give every drawing of the page its full screen. */
export function viewers(): void {
  for (const button of all("[data-view]")) button.addEventListener("click", () => view(button.closest<HTMLElement>(".stop") ?? one(".stop")));
}

function view(stop: HTMLElement): void {
  const source = one<HTMLImageElement>(".pane img", stop);
  const brackets: Bracket[] = all(".holes li", stop).map((line) => ({
    x: Number(line.dataset["x"]),
    y: Number(line.dataset["y"]),
    words: all(":scope > *", line).map((part) => part.textContent ?? "").join(" · "),
  }));
  const picture = make("img", { src: source.src, alt: source.alt, draggable: "false" });
  const words = make("p", { "aria-live": "polite" });
  const button = (text: string, name: string): HTMLButtonElement => make("button", { type: "button", "aria-label": name }, text);
  const [before, next] = [button("‹", spoken("Bracket before")), button("›", spoken("Next bracket"))];
  const close = button(spoken("Close"), spoken("Close"));
  const lying = make("div", { class: "lying" }, picture, make("div", { class: "bar" }, before, words, next, close));
  const dialog = make("dialog", { class: "viewer", "aria-label": spoken("Wall drawing") }, lying);
  document.body.append(dialog);

  let at = 0; // 0: the whole drawing, then bracket 1 and so on
  const show = (to: number): void => {
    at = Math.max(0, Math.min(brackets.length, to));
    const bracket = brackets[at - 1];
    const [wide, high] = [lying.clientWidth, lying.clientHeight - 66];
    const whole = Math.min(wide / 1056, high / 816);
    const scale = bracket === undefined ? whole : whole * NEAR;
    const [x, y] = bracket === undefined ? [0.5, 0.5] : [bracket.x, bracket.y];
    picture.style.width = `${1056 * scale}px`;
    picture.style.height = `${816 * scale}px`;
    picture.style.transform = `translate(${wide / 2 - x * 1056 * scale}px, ${high / 2 - y * 816 * scale}px)`;
    words.textContent = bracket === undefined ? spoken("The whole wall: swipe for bracket 1") : bracket.words;
    dialog.dataset["bracket"] = String(at);
  };
  before.addEventListener("click", () => show(at - 1));
  next.addEventListener("click", () => show(at + 1));
  close.addEventListener("click", () => dialog.close());
  dialog.addEventListener("keydown", (event) => {
    if (event.key === "ArrowRight") show(at + 1);
    if (event.key === "ArrowLeft") show(at - 1);
  });

  let from: { x: number; y: number } | undefined;
  lying.addEventListener("pointerdown", (event) => (from = { x: event.clientX, y: event.clientY }));
  lying.addEventListener("pointerup", (event) => {
    if (from === undefined) return;
    // Held upright the drawing lies on its side: along it is then down the screen.
    const upright = matchMedia("(orientation: portrait)").matches;
    const along = upright ? event.clientY - from.y : event.clientX - from.x;
    from = undefined;
    if (Math.abs(along) > SWIPE) show(at + (along < 0 ? 1 : -1));
  });
  const again = (): void => show(at);
  addEventListener("resize", again);
  dialog.addEventListener("close", () => {
    removeEventListener("resize", again);
    if (document.fullscreenElement) void document.exitFullscreen();
    dialog.remove();
  });
  dialog.showModal();
  show(0);
  const turned = screen.orientation as ScreenOrientation & { lock?: (way: string) => Promise<void> };
  // Where the browser lets a page do so; the drawing lies either way.
  void dialog.requestFullscreen?.().then(() => turned.lock?.("landscape")).catch(() => undefined);
}
