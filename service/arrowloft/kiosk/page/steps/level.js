export default { id: "level", title: "Level", heading: "How level to hold", lead: "", show: () => () => {} };
