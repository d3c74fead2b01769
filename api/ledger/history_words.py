"""What lines of the history are made of, for the catalogues: what was done, to what, and what was changed of it.

A line is kept in English; `api.ledger.history.in_words` says each of these where it is shown.
"""

from __future__ import annotations

from api.languages import to_say

DID = (
    to_say("{who} made {what}"), to_say("{who} changed {what}"), to_say("{who} deleted {what}"),
    to_say("{who} placed {what}"), to_say("{who} sent {what}"), to_say("{who} told {what}"),
    to_say("{who} came {what}"), to_say("{who} did not come {what}"), to_say("{who} moved {what}"),
    to_say("{who} posted {what}"), to_say("{who} planned {what}"), to_say("{who} locked {what}"),
    to_say("{who} unlocked {what}"), to_say("{who} counted {what}"), to_say("{who} began to count {what}"),
    to_say("{who} closed {what}"), to_say("{who} opened {what}"), to_say("{who} kept {what}"),
    to_say("{who} dropped {what}"), to_say("{who} wrote {what}"), to_say("{who} loaded {what}"),
    to_say("{who} unloaded {what}"), to_say("{who} ticked {what}"), to_say("{who} signed {what}"),
    to_say("{who} done {what}"), to_say("{who} partly done {what}"), to_say("{who} not done {what}"),
    to_say("{who} went out {what}"), to_say("{who} came back {what}"), to_say("{who} here {what}"),
    to_say("{who} on our way {what}"), to_say("{who} handed over {what}"), to_say("{who} took {what}"),
    to_say("{who} took off {what}"), to_say("{who} took over {what}"), to_say("{who} took back {what}"),
    to_say("{who} undid {what}"), to_say("{who} undid the change of {what}"),
    to_say("{who} changed the day of {what}"), to_say("{who} fitted {what}"), to_say("{who} revoked {what}"),
    to_say("{who} ended {what}"), to_say("{who} ended codes at sign-in {what}"),
    to_say("{who} ended other sessions {what}"), to_say("{who} set up codes at sign-in {what}"),
    to_say("{who} gave a wrong code {what}"), to_say("{who} used a recovery code {what}"),
    to_say("{who} changed password {what}"), to_say("{who} changed e-mail for sign-in {what}"),
    to_say("{who} reset password {what}"), to_say("{who} came by the provider, not the one-time password {what}"),
    to_say("{who} gave up sending {what}"), to_say("{who} did not send {what}"), to_say("{who} ordered {what}"),
    to_say("{who} received {what}"), to_say("{who} corrected {what}"), to_say("{who} booked in {what}"),
    to_say("{who} set aside {what}"), to_say("{who} put back on the shelf {what}"),
    to_say("{who} took from the shelf {what}"), to_say("{who} promised {what}"), to_say("{who} rebooked {what}"),
    to_say("{who} let wait {what}"), to_say("{who} took back putting off {what}"),
    to_say("{who} asked what would pay {what}"), to_say("{who} away {what}"), to_say("{who} began {what}"),
    to_say("{who} stopped {what}"), to_say("{who} exported {what}"), to_say("{who} erased {what}"),
    to_say("{who} cancelled {what}"), to_say("{who} listed the parts of {what}"),
    to_say("{who} filled a hole {what}"), to_say("{who} filled {what}"), to_say("{who} took in {what}"),
    to_say("{who} took in, made {what}"), to_say("{who} took in, changed {what}"),
    to_say("{who} undid, deleted {what}"), to_say("{who} undid, made {what}"), to_say("{who} undid, changed {what}"),
    to_say("{who} by hand {what}"), to_say("{who} noted the answer to {what}"),
    to_say("{who} kept a rain date for {what}"), to_say("{who} let go the rain date of {what}"),
    to_say("{who} took the rain date of {what}"), to_say("{who} read {what}"),
    to_say("{who} asked for no more texts from {what}"), to_say("{who} asked for texts again from {what}"),
)  # fmt: skip
NOUNS = (
    to_say("the visit"), to_say("the customer"), to_say("the site"), to_say("the order"), to_say("the awning"),
    to_say("the survey"), to_say("the week"), to_say("the plan run"), to_say("the kit"), to_say("the crate"),
    to_say("the shelf"), to_say("the short"), to_say("the parts"), to_say("the part code"), to_say("the message"),
    to_say("the changed visit"), to_say("the sign-in"), to_say("the day link"), to_say("the token"),
    to_say("the webhook"), to_say("the calendar"), to_say("the calendar address"), to_say("the address"),
    to_say("the addresses"), to_say("the drives"), to_say("the forecast"), to_say("the delivery"),
    to_say("the booking"), to_say("the stored awning"), to_say("the settings"), to_say("the business"),
    to_say("the roster"), to_say("the route"), to_say("the photo"), to_say("the horizon"), to_say("the person"),
    to_say("the crew"), to_say("the van"), to_say("the yard"), to_say("the day off"), to_say("the van's day out"),
    to_say("the piece of equipment"), to_say("the day out of order"), to_say("the model"),
    to_say("the size of a model"), to_say("the part of a model"), to_say("the gate"), to_say("the usual gate"),
    to_say("the part packed with an awning"), to_say("the maker order"), to_say("the yearly service"),
    to_say("the callback"), to_say("the task times"), to_say("the step"), to_say("the text gateway"),
    to_say("the text"), to_say("the address for texts"),
)  # fmt: skip
DETAILS = (
    to_say("kind"), to_say("state"), to_say("skills"), to_say("due on"), to_say("skip"), to_say("fault"),
    to_say("note"), to_say("access"), to_say("hours"), to_say("hands"), to_say("town"), to_say("address"),
    to_say("name"), to_say("phone"), to_say("email"), to_say("access notes"), to_say("built"), to_say("placed"),
    to_say("width"), to_say("projection"), to_say("model"), to_say("fabric"), to_say("weight"), to_say("boxes"),
    to_say("length"), to_say("rack"), to_say("payload"), to_say("count"), to_say("cause"), to_say("why"),
    to_say("because"), to_say("crew"), to_say("day"), to_say("days"), to_say("start"), to_say("role"),
    to_say("items"), to_say("item"), to_say("pieces"), to_say("minutes"), to_say("orders"), to_say("parts"),
    to_say("number"), to_say("plan"), to_say("week"), to_say("visits"), to_say("visit"), to_say("jobs"),
    to_say("late until"), to_say("rest of"), to_say("short"), to_say("cost"), to_say("left"), to_say("seconds"),
    to_say("issued"), to_say("host"), to_say("events"), to_say("scopes"), to_say("spot"), to_say("until"),
    to_say("on hand"), to_say("arrives on"), to_say("done at"), to_say("months"), to_say("repair"), to_say("step"),
    to_say("not in order"), to_say("signed by"), to_say("signature of"), to_say("fields"), to_say("held"),
    to_say("reminder"), to_say("rain date"), to_say("case"), to_say("awning"), to_say("customer"), to_say("site"),
    to_say("order"),
    to_say("hold"), to_say("yard"), to_say("active"), to_say("lead"), to_say("helper"), to_say("van"),
    to_say("day cents"), to_say("language"), to_say("answer"), to_say("reason"), to_say("text"), to_say("subject"),
    to_say("part"), to_say("onboard"), to_say("lat"), to_say("lon"), to_say("pin"), to_say("feed"), to_say("drives"),
    to_say("kit"), to_say("missing"), to_say("extra"), to_say("damaged"), to_say("what"),
)  # fmt: skip
# What some columns are called, where their own name says little.
CALLED = {
    "assist_hands": to_say("second crew's people"),
    "assist_minutes": to_say("second crew's minutes"),
    "assist_from": to_say("second crew not before"),
    "assist_to": to_say("second crew not after"),
    "assist_skills": to_say("second crew's skills"),
}
