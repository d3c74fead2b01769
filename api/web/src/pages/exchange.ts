// Taking a table in: tried and kept without choosing the file twice. Without this script the form does the same by pages.
import { attempt, csrf, Fault, one, say } from "../common.ts";
import { spoken } from "../spoken.ts";

const form = one<HTMLFormElement>("form.take-in");

/** Send what the form held and put the answer's part for what was tried in place of the one shown. */
async function send(body: FormData): Promise<void> {
  let answer = await ask(form.action, {
    method: "POST",
    body,
    headers: { Accept: "text/html", "X-CSRF-Token": csrf(), Prefer: "respond-async" },
  });
  const address = answer.headers.get("Location");
  if (answer.status === 202 && address !== null) answer = await followed(address);
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  const tried = page.querySelector("#tried");
  if (tried === null) {
    const words = [...page.querySelectorAll("main li, main p")].map((e) => e.textContent.trim());
    throw new Fault(answer.status, { detail: words.join(" ") || spoken("The service answered {status}", { status: answer.status }) });
  }
  tried.querySelector(".again")?.remove(); // the same file is still chosen
  one("#tried").replaceWith(document.adoptNode(tried));
  say(one("#tried .answer").textContent.trim());
}

/** Ask the service as who is signed in. */
async function ask(address: string, how: RequestInit): Promise<Response> {
  return fetch(address, { credentials: "same-origin", ...how }).catch(() => {
    throw new Fault(0, { detail: spoken("The service cannot be reached. Try the file again to see what was taken in.") });
  });
}

interface Stands {
  state: string;
  done: number;
  total: number;
}

/** Show how far the table at `address` is until that is over; return the page of what came of it. */
async function followed(address: string): Promise<Response> {
  const words = document.createElement("p");
  words.setAttribute("role", "status");
  const bar = document.createElement("progress");
  one("#tried").prepend(words, bar); // the button stays: it is wanted again where nothing comes of it
  for (;;) {
    const answer = await ask(address, { headers: { Accept: "application/json" } });
    if (!answer.ok) throw new Fault(answer.status, { detail: spoken("What came of this table is not known: try it again.") });
    const stands = (await answer.json()) as Stands;
    if (stands.state !== "working") return ask(address, { headers: { Accept: "text/html" } });
    words.textContent = stands.total > 0 ? spoken("{done} of {total} rows", { done: stands.done, total: stands.total }) : spoken("The file is read …");
    if (stands.total > 0) {
      bar.max = stands.total;
      bar.value = stands.done;
    }
    await new Promise((go) => setTimeout(go, 250));
  }
}

form.addEventListener("submit", (event) => {
  const button = event.submitter;
  if (!(button instanceof HTMLButtonElement)) return;
  event.preventDefault();
  const body = new FormData(form, button); // before the button is disabled: its value would be left out
  button.disabled = true;
  void attempt(() => send(body)).then((heard) => {
    button.disabled = false;
    if (!heard) untried();
  });
});

/** Begin again: what stands there is about another file, or about what the database held before. */
function untried(): void {
  const button = one<HTMLButtonElement>("#tried button");
  button.value = "try";
  button.textContent = spoken("Try it first");
  one("#tried").replaceChildren(button);
}

form.addEventListener("change", untried);
