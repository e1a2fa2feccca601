// Asking the service: the newest question wins, a refusal is a Problem, silence is a Lost.

import { key } from "../kept/key.js";
import { Freshness } from "./freshness.js";

const JSON_TYPE = "application/json";

/** What the service refuses, in its own words. */
export class Problem extends Error {
  constructor(status, body) {
    super(body.detail ?? body.title ?? "The service refused this.");
    this.status = status;
    this.title = body.title ?? "";
    this.type = body.type ?? "";
    this.errors = body.errors ?? [];
  }
}

/** The service does not answer, or cannot answer now. */
export class Lost extends Error {
  constructor(seconds = null) {
    super("The service does not answer.");
    this.seconds = seconds;
  }
}

/** The service asks for a key that it was not sent: it is asked again once there is another. */
export class Locked extends Lost {}

/** What exists: the JSON at a path. Throws Lost and Problem. */
export async function fetched(path) {
  return (await answered(path, { headers: { Accept: JSON_TYPE } })).json();
}

/** The response to a computation. accept: the form wanted. Throws Lost and Problem. */
export function computed(resource, body, { accept = JSON_TYPE, signal } = {}) {
  return answered(`/v1/${resource}`, {
    method: "POST",
    headers: { "Content-Type": JSON_TYPE, Accept: `${accept}, application/problem+json` },
    body: JSON.stringify(body),
    signal,
  });
}

/** How many are asked at once: fewer than a proxy lets one address have under way. */
const MOST = 2;

/** Whoever asks waits for a turn, in the order of asking. */
const turns = { free: MOST, waiting: [] };

async function turn() {
  if (turns.free > 0) turns.free -= 1;
  else await new Promise((given) => turns.waiting.push(given));
}

function turnOver() {
  const next = turns.waiting.shift();
  if (next) next();
  else turns.free += 1;
}

/** How often to ask again by itself what was too often for an address, which others may share. */
const PATIENCE = 5;

async function answered(path, options, patience = PATIENCE) {
  const { signal, ...asked } = options;
  const sent = key();
  const headers = sent ? { ...options.headers, Authorization: `Bearer ${sent}` } : options.headers;
  let response;
  underWay.change(+1);
  await turn();
  try {
    signal?.throwIfAborted();
    response = await fetch(path, {
      cache: "no-store",
      ...asked,
      headers,
      signal: hangingUp(signal),
    });
  } catch (error) {
    if (error.name === "AbortError") throw error;
    throw new Lost();
  } finally {
    turnOver();
    underWay.change(-1);
  }
  if (response.status === 401) {
    // It was given meanwhile.
    if (key() && key() !== sent) return answered(path, options);
    line.lock(sent ? "wrong" : "wanted");
    throw new Locked();
  }
  if (response.status === 429 && patience > 0) {
    await pause(secondsUntilRetry(response) ?? 1);
    signal?.throwIfAborted();
    return answered(path, options, patience - 1);
  }
  const said = response.ok ? null : await response.json().catch(() => null);
  if ([429, 502, 503, 504].includes(response.status) && said?.type !== TOO_LONG) {
    throw new Lost(secondsUntilRetry(response));
  }
  line.lock(null);
  if (response.ok) return response;
  throw new Problem(
    response.status,
    said ?? { detail: `The service answered with status ${response.status}.` },
  );
}

function secondsUntilRetry(response) {
  return Number(response.headers.get("Retry-After")) || null;
}

async function pause(seconds) {
  underWay.change(+1);
  await new Promise((over) => setTimeout(over, 1000 * seconds));
  underWay.change(-1);
}

/**
 * How long what nobody waits for any more keeps its turn, ms: as long as the service lets a request
 * wait, and compute.
 */
const LEFT_ALONE = 8000;

/**
 * What hangs up on a request some time after its asker has given it up. Not at once: a computation
 * goes on to its end in any case, and would be under way beside those that are counted here.
 */
function hangingUp(signal) {
  const end = new AbortController();
  const later = () => setTimeout(() => end.abort(), line.lost ? 0 : LEFT_ALONE);
  signal?.addEventListener("abort", later, { once: true });
  return end.signal;
}

/** What a slow model is answered with: asking again would be no better. */
const TOO_LONG = "/problems/takes-too-long";

const SOON = 40;
const FIRST_WAIT = 2000;
const LONGEST_WAIT = 15000;

/** The content of a response, as JSON or in another form; one that breaks off is a Lost. */
async function whole(response, accept) {
  try {
    return await (accept === JSON_TYPE ? response.json() : response.blob());
  } catch (error) {
    throw error.name === "AbortError" ? error : new Lost();
  }
}

/** How many questions are under way; the page shows progress where that lasts. */
export const underWay = new (class extends EventTarget {
  count = 0;

  change(by) {
    this.count += by;
    this.dispatchEvent(new Event("change"));
  }
})();

/** Whether the service answers, as far as the last question tells. */
export const line = new (class extends EventTarget {
  lost = false;
  // "wanted" or "wrong" where it asks for a key, else null.
  locked = null;
  waiting = new Set();

  /** retry: asks again; it is called when the person wants it, or when another was answered. */
  say(lost, retry = null) {
    if (retry) this.waiting.add(retry);
    const found = this.lost && !lost;
    this.lost = lost;
    this.dispatchEvent(new Event("change"));
    if (found) this.retry();
  }

  /** locked: as above. Once it is null again, who waited for a key is answered. */
  lock(locked) {
    if (locked === this.locked) return;
    this.locked = locked;
    if (!locked) this.lost = false;
    this.dispatchEvent(new Event("change"));
    if (!locked) this.retry();
  }

  retry() {
    const all = [...this.waiting];
    this.waiting.clear();
    for (const one of all) one();
  }
})();

/**
 * A question that is asked again and again, as a person types: a moment after the last change,
 * with the newest body, any older answer thrown away. A lost service is asked again by itself.
 *
 * answered(reply, body): the reply, as JSON, or as a Blob for another form.
 * refused(problem): a Problem.
 * host: the element that shows the answer, or its Freshness where several questions show theirs.
 */
export class Question {
  constructor(resource, { answered: told, refused, accept = JSON_TYPE, host }) {
    Object.assign(this, { resource, told, refused, accept });
    this.freshness = host instanceof Element ? new Freshness(host) : host;
    this.wait = FIRST_WAIT;
    this.asking = null;
    this.timer = null;
    this.repeat = () => this.ask(this.body, 0);
  }

  /** Ask soon; body: of the request. */
  ask(body, soon = SOON) {
    this.stop();
    this.want(body);
    this.body = body;
    this.timer = setTimeout(() => this.send(), soon);
  }

  /** Say that what is shown must answer this body; `ask` does so by itself. */
  want(body) {
    this.freshness?.want(this.key(body));
  }

  key(body) {
    return `${this.resource} ${JSON.stringify(body)}`;
  }

  /** Ask no more, and throw away what is under way. */
  stop() {
    clearTimeout(this.timer);
    this.asking?.abort();
    this.asking = null;
    line.waiting.delete(this.repeat);
  }

  async send() {
    const asking = new AbortController();
    this.asking = asking;
    const body = this.body;
    try {
      const response = await computed(this.resource, body, {
        accept: this.accept,
        signal: asking.signal,
      });
      const reply = await whole(response, this.accept);
      if (this.asking !== asking) return;
      this.wait = FIRST_WAIT;
      line.waiting.delete(this.repeat);
      line.say(false);
      this.freshness?.answer(this.key(body));
      this.told(reply, body);
    } catch (error) {
      if (this.asking === asking) this.failed(error);
    }
  }

  askLater(seconds) {
    this.timer = setTimeout(() => this.send(), seconds ? seconds * 1000 : this.wait);
    this.wait = Math.min(2 * this.wait, LONGEST_WAIT);
  }

  failed(error) {
    if (error instanceof Problem || error instanceof Lost) this.freshness?.miss();
    if (error instanceof Problem) {
      line.say(false);
      this.refused(error);
    } else if (error instanceof Lost) {
      // Asking again by itself brings no key.
      if (!(error instanceof Locked)) this.askLater(error.seconds);
      line.say(true, this.repeat);
    } else if (error.name !== "AbortError") {
      throw error;
    }
  }
}
