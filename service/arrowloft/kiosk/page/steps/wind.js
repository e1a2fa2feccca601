export default { id: "wind", title: "Wind", heading: "In the wind", lead: "", show: () => () => {} };
