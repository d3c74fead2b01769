// Posting: what crews and customers will see, what changes against what they see now, and a word of confirmation.
import { worded } from "../words.ts";
import { Fault, all, make, newKey, one, say, send } from "../common.ts";
import { against, saves } from "./compare.ts";
import * as sheet from "./sheet.ts";
import { spoken, spokenFor } from "../spoken.ts";

const MOST = 12;

/** Listen to the button and to the dialog. */
export function listen(): void {
  document.addEventListener("click", (event) => {
    if (event.target instanceof Element && event.target.id === "post") void open();
  });
  one("#post-no").addEventListener("click", () => dialog().close());
  one("#post-yes").addEventListener("click", () => void post());
}

const dialog = (): HTMLDialogElement => one<HTMLDialogElement>("#post-dialog");
const changes = (): HTMLElement => one("#post-changes");

async function open(): Promise<void> {
  const posted = one('[data-part="post"]', dialog()).dataset.posted;
  changes().replaceChildren();
  dialog().showModal();
  one("#post-no").focus();
  if (posted === undefined) return;
  try {
    const laid = await against(Number(posted));
    const moved = laid.moves.filter((move) => move.what !== "stays");
    const how = saves(laid.saves_cents.total ?? 0, spoken("what is posted now"));
    changes().replaceChildren(
      make("p", {}, moved.length === 0 ? spoken("It {saves}, and nobody moves.", { saves: how }) : spokenFor("It {saves}, and {n} visit moves:", "It {saves}, and {n} visits move:", moved.length, { saves: how })),
      make("ul", { class: "small" }, ...moved.slice(0, MOST).map((move) => make("li", {}, worded(move.sentence)))),
      ...(moved.length > MOST ? [make("p", { class: "small" }, spoken("and {n} more; Compare shows them all.", { n: moved.length - MOST }))] : []),
    );
  } catch (fault) {
    if (!(fault instanceof Fault)) throw fault;
    changes().replaceChildren(make("p", {}, fault.message));
  }
}

async function post(): Promise<void> {
  const why = changes().querySelector<HTMLTextAreaElement>("textarea")?.value.trim() ?? "";
  const yes = one<HTMLButtonElement>("#post-yes");
  yes.disabled = true;
  yes.textContent = spoken("Posting …");
  try {
    const body = { plan_id: sheet.planId(), ...(why === "" ? {} : { despite: why }) };
    await send("POST", `/weeks/${sheet.weekStart()}/post`, body, { key: newKey() });
    dialog().close();
    await sheet.refresh();
    say(spoken("The week is posted: plan {plan}.", { plan: sheet.planId() }));
  } catch (fault) {
    if (!(fault instanceof Fault)) throw fault;
    refused(fault);
  } finally {
    yes.disabled = false;
    yes.textContent = spoken("Post the week");
  }
}

/** Show what stands against it; a plan that only no longer fits today's facts can be posted with a reason. */
function refused(fault: Fault): void {
  const stands = Array.isArray(fault.members.against) ? (fault.members.against as string[]) : [fault.message];
  const reason = make("textarea", { rows: 2, id: "post-despite" });
  changes().replaceChildren(
    make("p", { class: "flag" }, spoken("▲ Not posted:")),
    make("ul", { class: "small" }, ...stands.map((text) => make("li", {}, text))),
    ...(fault.kind === "not-current"
      ? [make("p", {}, make("label", { for: "post-despite" }, spoken("Plan again, or say why it is posted all the same:"))), reason]
      : []),
  );
  if (fault.kind === "not-current") reason.focus();
  for (const list of all("ul", changes())) list.tabIndex = -1;
}
