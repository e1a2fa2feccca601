// Renders /openapi.json, and sends what a reader tries to this service alone.

const dark = window.matchMedia("(prefers-color-scheme: dark)");

function follow() {
  document.documentElement.classList.toggle("dark-mode", dark.matches);
}

async function read(address) {
  const reply = await fetch(address, { headers: { Accept: "application/json" } });
  if (!reply.ok) throw new Error(`${address} was answered with ${reply.status}`);
  return reply.json();
}

// A request made up from its schema holds every member at once, also those that exclude each
// other: what stands ready to be tried is one that is answered.
function offer(described, examples) {
  for (const [path, request] of Object.entries(examples)) {
    const body = described.paths[path]?.post?.requestBody;
    if (body) body.content["application/json"].example = request;
  }
  return described;
}

// The references within a part of the document, each replaced by the schema that it names.
function resolved(part, described) {
  if (Array.isArray(part)) return part.map((item) => resolved(item, described));
  if (part === null || typeof part !== "object") return part;
  if (typeof part.$ref === "string") {
    const steps = part.$ref.replace("#/", "").split("/");
    const named = steps.reduce((within, step) => within[step], described);
    // $$ref: how the rendering tells a resolved part from one that still holds its reference.
    return { title: steps.at(-1), ...resolved(named, described), $$ref: part.$ref };
  }
  return Object.fromEntries(
    Object.entries(part).map(([name, inner]) => [name, resolved(inner, described)]),
  );
}

// The rendering's own way to resolve references takes seconds for a document of this size.
function resolving(described) {
  const request =
    (_, { specActions }) =>
    (path) => {
      const part = path.reduce((within, step) => within?.[step], described) ?? {};
      // Asked for while the page is being drawn, which must not change what it draws.
      queueMicrotask(() => specActions.updateResolvedSubtree(path, resolved(part, described)));
    };
  return { statePlugins: { spec: { wrapActions: { requestResolvedSubtree: request } } } };
}

// What the rendering leaves out for keyboards and screen readers.
function mend(root) {
  for (const field of root.querySelectorAll("textarea:not([aria-label])")) {
    field.setAttribute("aria-label", "Body of the request");
  }
  for (const field of root.querySelectorAll("select:not([aria-label])")) {
    field.setAttribute("aria-label", field.closest("tr")?.dataset.paramName ?? "Choice");
  }
  for (const scrolled of root.querySelectorAll("pre.microlight")) scrolled.tabIndex = 0;
}

function show(described) {
  const root = document.getElementById("document");
  new MutationObserver(() => mend(root)).observe(root, { childList: true, subtree: true });
  window.SwaggerUIBundle({
    spec: described,
    domNode: root,
    presets: [window.SwaggerUIBundle.presets.apis],
    plugins: [() => resolving(described)],
    layout: "BaseLayout",
    // Others' servers check a document for a badge, and would learn its address.
    validatorUrl: null,
    // Would put a link into the button that opens an operation: no reader's keyboard can tell.
    deepLinking: false,
    tryItOutEnabled: true,
    docExpansion: "list",
    // Each schema is shown where it is used; all of them once more are a page of their own.
    defaultModelsExpandDepth: -1,
    // Its colours are too faint on their ground, and long replies take seconds.
    syntaxHighlight: { activated: false },
  });
}

follow();
dark.addEventListener("change", follow);
try {
  show(offer(...(await Promise.all([read("/openapi.json"), read("/docs/examples.json")]))));
} catch (fault) {
  document.querySelector(".wait").textContent =
    `The document could not be shown: ${fault.message}. Load this page again.`;
}
