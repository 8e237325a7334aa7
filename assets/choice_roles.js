// The component library calls a row of choices a list box whose options hold the inputs, which
// people who hear the page are told as neither. Without those roles they hear what is there:
// radio buttons and check boxes with their labels, in the group that the page names.

(function () {
  const ROLES = ".dash-options-list[role], .dash-options-list-option[role], .dash-options-list-option[aria-selected]";

  function tellPlainly(root) {
    for (const node of root.querySelectorAll(ROLES)) {
      node.removeAttribute("role");
      node.removeAttribute("aria-selected");
    }
  }

  // The library writes its attributes again with every change of choice.
  new MutationObserver(() => tellPlainly(document)).observe(document, {
    subtree: true, childList: true, attributes: true, attributeFilter: ["role", "aria-selected"],
  });
})();
