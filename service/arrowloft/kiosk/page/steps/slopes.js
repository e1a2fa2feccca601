export default { id: "slopes", title: "Slopes", heading: "Up and down hill", lead: "", show: () => () => {} };
