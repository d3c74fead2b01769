// Has the worker keep the day on this phone.
import { all, one } from "../common.ts";
import { spoken } from "../spoken.ts";
import type { DayState } from "./state.ts";

/** Have the worker keep this page and all that it shows. */
export async function keepHere(state: DayState): Promise<void> {
  const day = one("#day");
  const page = location.pathname;
  if (!("serviceWorker" in navigator)) return;
  try {
    await navigator.serviceWorker.register("/crews/day-worker.js");
    // The link that was texted lies elsewhere, and has to open without signal too.
    if (day.dataset["link"] === "yes") await navigator.serviceWorker.register("/crews/day-worker.js", { scope: "/day-links/open/" });
    const { active } = await navigator.serviceWorker.ready;
    const urls = [
      ...all<HTMLLinkElement>("link[rel=stylesheet]").map((link) => link.href),
      ...all<HTMLScriptElement>("script[src]").map((script) => script.src),
      ...all<HTMLImageElement>(".pane img, .zero img").map((picture) => picture.src),
      ...Object.values(state.photos).flat().map((photo) => `${location.origin}/photos/${photo.id}`),
    ];
    const channel = new MessageChannel();
    channel.port1.onmessage = (event) => {
      day.dataset["kept"] = event.data === true ? "yes" : "no";
      one("#kept").textContent = event.data === true
        ? `✓ ${spoken("This day is kept on this phone and opens without signal.")}`
        : `▲ ${spoken("This day could not be kept on this phone: leave the page open.")}`;
    };
    active?.postMessage({ do: "keep", page, urls, alone: day.dataset["link"] === "yes", opened: day.dataset["opened"] ?? "" }, [channel.port2]);
  } catch {
    one("#kept").textContent = `▲ ${spoken("This browser keeps nothing for use without signal: leave the page open, or take the paper along.")}`;
  }
}
