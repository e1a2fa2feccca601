// The questions of one step: asked together, their refusals shown together among its fields.

import { showProblem } from "./problems.js";
import { Freshness } from "./freshness.js";
import { Question } from "./service.js";

/** Questions of one step. host: holds its fields.  summary: takes what belongs to no field. */
export class Asking {
  constructor(host, summary) {
    Object.assign(this, { host, summary, all: [] });
  }

  /**
   * Add a question.
   * body: makes the request as it is then.  answered(reply, body): draws into `into`, an element
   * or several, hidden while the question is refused: an answer to another would mislead.
   * pointer: turns pointers into this question into those of the fields.
   */
  add(resource, { body, into, answered, pointer = (own) => own }) {
    const one = { body, pointer, asked: null, problem: null };
    const elements = [into].flat();
    const hide = (hidden) => elements.forEach((element) => (element.hidden = hidden));
    one.question = new Question(resource, {
      host: new Freshness(...elements),
      answered: (reply, asked) => {
        hide(false);
        this.say(one, null);
        answered(reply, asked);
      },
      refused: (problem) => {
        hide(true);
        this.say(one, problem);
      },
    });
    this.all.push(one);
  }

  /** Ask what has changed. */
  ask() {
    for (const one of this.all) {
      const body = one.body();
      const text = JSON.stringify(body);
      if (text !== one.asked) one.question.ask(body);
      one.asked = text;
    }
  }

  /** Ask no more. */
  stop() {
    for (const { question } of this.all) question.stop();
  }

  say(one, problem) {
    one.problem = problem && {
      message: problem.message,
      errors: problem.errors.map(({ pointer = "", detail }) => ({
        pointer: one.pointer(pointer),
        detail,
      })),
    };
    const problems = this.all.map((other) => other.problem).filter(Boolean);
    const errors = new Map(
      problems
        .flatMap((found) => found.errors)
        .map((error) => [`${error.pointer} ${error.detail}`, error]),
    );
    showProblem(
      this.host,
      this.summary,
      problems.length ? { message: problems[0].message, errors: [...errors.values()] } : null,
    );
  }
}
