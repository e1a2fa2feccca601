export default { id: "verify", title: "Verify", heading: "Prove your marks", lead: "", show: () => () => {} };
