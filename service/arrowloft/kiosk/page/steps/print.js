export default { id: "print", title: "Print", heading: "Print and carry away", lead: "", show: () => () => {} };
