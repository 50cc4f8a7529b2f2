// What is said when the server doesn't answer any more. What is on the page stays usable, and goes on when it is back.
import { ask } from "./asking.js";
import { button, make } from "../elements.js";

/** @import { Page } from "../main.js" */

const PAUSE = 3000; // milliseconds between two questions whether it is back

export class GoneNotice {
  /** @param {Page} page */
  constructor(page) {
    this.page = page;
    this.message = make("div", { role: "alert" });
    this.again = make("p", { hidden: true }, button("Try again", () => this.retry()));
    this.root = make("div", { class: "gone", hidden: true }, this.message, this.again);
    document.addEventListener("workshop:gone", () => this.show());
    document.addEventListener("workshop:there", () => this.hide());
  }

  show() {
    if (!this.root.hidden) return;
    this.root.hidden = false;
    this.again.hidden = false;
    this.timer = setInterval(() => ask("start").catch(() => {}), PAUSE);
    this.message.replaceChildren(
      make("p", {}, make("strong", {}, "fillgen page is no longer running, so nothing new can be found, checked or kept.")),
      make("p", {}, "Start it again in a terminal with ", make("code", {}, "fillgen page"), ". This page then picks up where it was. If it doesn't, open the address that the terminal prints."),
      make("p", {}, "You can still play, star and print the ideas here, and save them as MIDI and MusicXML."),
    );
  }

  hide() {
    if (this.root.hidden) return;
    clearInterval(this.timer);
    const held = this.root.contains(document.activeElement);
    this.root.hidden = true;
    this.message.replaceChildren();
    this.page.say("fillgen page is back.");
    if (held) document.getElementById("chart")?.focus();
  }

  async retry() {
    this.page.say("Trying again.");
    try {
      await ask("start");
    } catch {
      this.page.say("No answer yet.");
    }
  }
}
