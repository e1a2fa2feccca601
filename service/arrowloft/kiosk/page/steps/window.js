export default { id: "window", title: "Window", heading: "Beyond the sight's window", lead: "", show: () => () => {} };
