// What a person touches stays under the finger while answers above it grow.

/** Make a change to what stands in a host, and scroll so that what has the focus stays in its place. */
export function steadily(host, change) {
  const held = host.contains(document.activeElement) ? document.activeElement : null;
  const before = held?.getBoundingClientRect().top;
  change();
  if (!held?.isConnected) return;
  const moved = held.getBoundingClientRect().top - before;
  if (moved) scrollBy({ top: moved, behavior: "instant" });
}
