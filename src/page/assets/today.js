// The day's list: what is due, open, provisional and checked, in the words of the terminal. Asked for, not followed: it
// looks over the whole book.

import { at, make, put, signed } from "/make.js";

/** Joins the button that asks. */
export function today(page) {
  at("today-ask").addEventListener("click", async () => {
    const answer = await fetch(`${page.api}/today`).catch(() => null);
    if (!answer?.ok) return put("today-said", "the recording cannot be reached");
    const { at: when, items } = await answer.json();
    put("today-said", items.length ? `As of ${when.slice(11, 19)} UTC` : "nothing is due, open or provisional");
    at("today-list").replaceChildren(...items.map((item) => make("li", { "data-group": item.group }, make("strong", {}, item.group), ` ${signed(item.text)}`)));
  });
}
