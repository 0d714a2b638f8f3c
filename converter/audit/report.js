"use strict";
// Filters of the report. Without this script everything stands open; with it one comparison shows at a time.
(function () {
  const form = document.getElementById("filters");
  if (!form) return;
  const topic = document.getElementById("topic");
  const group = document.getElementById("group");
  const filled = document.getElementById("filled");
  const status = document.getElementById("status");
  const groupLabel = document.getElementById("group-label");

  function dimension() {
    return form.querySelector("input[name=dimension]:checked");
  }

  function show(element, wanted) {
    element.hidden = !wanted;
  }

  function apply() {
    const chosen = dimension().value;
    const name = dimension().parentElement.textContent.trim();
    const wanted = group.value.trim().toLowerCase();
    groupLabel.textContent = name + " contains";
    document.querySelectorAll(".panel").forEach(function (panel) {
      show(panel, panel.dataset.dimension === chosen);
    });
    document.querySelectorAll(".panel tbody tr").forEach(function (row) {
      show(row, !wanted || row.dataset.group.toLowerCase().includes(wanted));
    });
    let shown = 0;
    const figures = document.querySelectorAll(".figure");
    document.querySelectorAll(".topic").forEach(function (section) {
      const inTopic = !topic.value || section.dataset.topic === topic.value;
      let here = 0;
      section.querySelectorAll(".figure").forEach(function (figure) {
        const wantedHere = inTopic && (!filled.checked || figure.dataset.filled === "yes");
        show(figure, wantedHere);
        here += wantedHere ? 1 : 0;
      });
      show(section, here > 0);
      shown += here;
    });
    const rows = Array.from(document.querySelectorAll(".panel:not([hidden]) tbody tr"));
    const groups = new Set(rows.filter(function (row) { return !row.hidden; }).map(function (row) { return row.dataset.group; }));
    document.querySelectorAll(".panel:not([hidden]) details").forEach(function (one) {
      if (wanted) one.open = true;
    });
    status.textContent = shown + " of " + figures.length + " figures, " + groups.size + " groups by " + name.toLowerCase() + ".";
  }

  function onlyGroup(list, column, value) {
    const key = column.replace(/_(.)/g, function (_, letter) { return letter.toUpperCase(); });
    list.querySelectorAll("tbody tr").forEach(function (row) {
      show(row, !value || row.dataset[key] === value);
    });
    const all = list.querySelector("button.all");
    show(all, Boolean(value));
    all.textContent = "Show all, not only " + value;
  }

  document.querySelectorAll("a[data-figure]").forEach(function (link) {
    link.addEventListener("click", function () {
      const list = document.getElementById("notes-" + link.dataset.figure);
      list.open = true;
      onlyGroup(list, link.closest(".panel").dataset.dimension, link.dataset.show);
    });
  });
  document.querySelectorAll("button.all").forEach(function (button) {
    button.addEventListener("click", function () { onlyGroup(button.closest("details"), "", ""); });
  });
  form.addEventListener("input", apply);
  form.addEventListener("change", apply);
  form.addEventListener("submit", function (event) { event.preventDefault(); });
  form.addEventListener("reset", function () { setTimeout(apply, 0); });

  // On paper every table stands open.
  let opened = [];
  window.addEventListener("beforeprint", function () {
    opened = Array.from(document.querySelectorAll(".figure details:not([open])"));
    opened.forEach(function (one) { one.open = true; });
  });
  window.addEventListener("afterprint", function () {
    opened.forEach(function (one) { one.open = false; });
  });

  form.hidden = false;
  apply();
})();
