// Whether what is shown answers what is entered now.

/** How long an answer may take before what is shown is said to be of before, ms. */
const PATIENCE = 300;

/**
 * Elements that show the answer of one question, or of several that take turns.
 * They have the class `stale` while they answer something else than was entered last, and are
 * busy to a screen reader while the answer is under way.
 */
export class Freshness {
  constructor(...elements) {
    this.elements = elements;
    // Keys of what is shown and of what is wanted: the same words for the same question.
    this.shown = null;
    this.wanted = null;
    this.timer = null;
  }

  /** Something is entered whose answer has this key. */
  want(key) {
    this.wanted = key;
    if (this.current()) this.mark(false);
    else this.timer ??= setTimeout(() => this.mark(true, true), PATIENCE);
  }

  /** The answer with this key is shown now. */
  answer(key) {
    this.shown = key;
    this.mark(false);
    // It may be that of an older question: the newest has as long again.
    if (!this.current()) this.want(this.wanted);
  }

  /** No answer comes: it was refused, or the service is lost. */
  miss() {
    if (!this.current()) this.mark(true);
  }

  /** Nothing of before is shown any more. */
  clear() {
    this.shown = null;
    this.mark(false);
  }

  current() {
    return this.shown === this.wanted;
  }

  mark(stale, busy = false) {
    clearTimeout(this.timer);
    this.timer = null;
    // Where nothing was shown yet, nothing is out of date.
    const of = stale && this.shown !== null;
    for (const element of this.elements) {
      element.classList.toggle("stale", of);
      if (busy) element.setAttribute("aria-busy", "true");
      else element.removeAttribute("aria-busy");
    }
  }
}
