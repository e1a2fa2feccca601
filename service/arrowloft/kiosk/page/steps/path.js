export default { id: "path", title: "Clear path", heading: "Does the arrow clear it?", lead: "", show: () => () => {} };
