"use strict";
// Keys, focus and announcements. The page works without this script; it only makes it faster.
(() => {
  const $ = (what, where = document) => where.querySelector(what);
  const dialog = $("#keys");
  const letters = $("#letters");
  const storage = (work) => { try { return work(sessionStorage); } catch { return null; } };
  let sent = false;

  // Which place of the question the keys are about.
  const cards = [...document.querySelectorAll(".card[data-number]")];
  const current = () => $(".card[data-current]");
  const makeCurrent = (card) => {
    for (const one of cards) { one.removeAttribute("data-current"); one.removeAttribute("aria-current"); }
    card.setAttribute("data-current", "");
    card.setAttribute("aria-current", "true");
    showPlace();
  };
  const showPlace = () => {
    const card = current();
    const note = $("#note");
    if (!note) return;
    const mark = (card && $(`mark[data-subject="${card.dataset.number}"]`, note)) || $("mark", note);
    if (mark) note.scrollTop += mark.getBoundingClientRect().top - note.getBoundingClientRect().top - note.clientHeight / 3;
  };

  // The words that a person marked in the note, with their place in it, go into the form that adds a finding.
  const placeOf = (node, offset) => {
    const piece = (node.nodeType === Node.TEXT_NODE ? node.parentElement : node).closest("[data-start]");
    if (!piece) return null;
    const hidden = node.parentElement && node.parentElement.classList.contains("hidden-character");
    const before = node.nodeType === Node.TEXT_NODE && !hidden ? [...node.data.slice(0, offset)].length : 0;
    return Number(piece.dataset.start) + before;
  };
  const marked = () => {
    const chosen = getSelection();
    const note = $("#note");
    if (!note || !chosen || chosen.isCollapsed || !note.contains(chosen.anchorNode) || !note.contains(chosen.focusNode)) return null;
    const range = chosen.getRangeAt(0);
    const text = chosen.toString();
    const start = placeOf(range.startContainer, range.startOffset);
    const skipped = [...text].length - [...text.trimStart()].length;
    return text.trim() ? { words: text.split(/\s+/).join(" ").trim().slice(0, 2000), near: start === null ? "" : start + skipped } : null;
  };
  let held = null; // a click may take the marking away before it counts
  document.addEventListener("pointerdown", (event) => {
    held = event.target.closest && event.target.closest("a[data-adds]") ? marked() : null;
  }, true);
  document.addEventListener("click", (event) => {
    const link = event.target.closest && event.target.closest("a[data-adds]");
    const found = link && (marked() || held);
    if (!found) return;
    const to = new URL(link.href);
    to.searchParams.set("words", found.words);
    if (found.near !== "") to.searchParams.set("near", found.near);
    link.href = to.href;
  });

  // Keys.
  const press = (key) => {
    const own = current();
    const what = `[data-key="${CSS.escape(key)}"]`;
    const target = (own && $(what, own)) || (own && "cer".includes(key) ? null : $(what));
    if (target && !target.hidden) { target.click(); return true; }
    return false;
  };
  const typing = (target) => target instanceof HTMLElement &&
    (target.isContentEditable || /^(INPUT|SELECT|TEXTAREA)$/.test(target.tagName)) && !["radio", "checkbox"].includes(target.type);
  document.addEventListener("keydown", (event) => {
    if (event.isComposing || event.altKey || event.metaKey) return;
    const form = $("#form");
    if (event.ctrlKey) {
      if (event.key === "Enter" && form) { event.preventDefault(); form.requestSubmit($("[data-saves]", form)); }
      return;
    }
    if (dialog && dialog.open) return;
    if (event.key === "Escape" && form) { event.preventDefault(); press("Escape"); return; }
    if (event.repeat || typing(event.target) || (letters && !letters.checked && event.key !== "?")) return;
    if (form && event.target.closest && event.target.closest("form") === form) return;
    const card = /^[1-9]$/.test(event.key) && cards.find((one) => one.dataset.number === event.key);
    if (card) { event.preventDefault(); makeCurrent(card); ($("button, a.button", card) || card).focus(); return; }
    const key = event.shiftKey ? event.key : event.key.toLowerCase();
    if (key.length === 1 && press(key)) event.preventDefault();
  });

  document.addEventListener("focusin", (event) => {
    const card = event.target.closest && event.target.closest(".card[data-number]");
    if (card && card !== current()) makeCurrent(card);
  });

  // A form is sent once, however often its key is pressed.
  document.addEventListener("submit", (event) => {
    if (event.target.method === "dialog") return;
    if (sent) event.preventDefault();
    sent = true;
  });
  addEventListener("pageshow", () => { sent = false; });

  // The list of keys, and whether single letters count.
  for (const button of document.querySelectorAll("[data-opens=keys]")) button.addEventListener("click", () => {
    dialog.showModal();
    $("#close-keys").focus();
  });
  if (letters) {
    letters.checked = storage((kept) => kept.getItem("letters")) !== "no";
    letters.addEventListener("change", () => storage((kept) => kept.setItem("letters", letters.checked ? "yes" : "no")));
  }

  // The values offered are those of the kind of reflex that is chosen.
  const reflex = $("#field-reflex");
  const value = $("#field-value");
  if (reflex && value) {
    const offer = () => {
      const kind = reflex.selectedOptions[0] && reflex.selectedOptions[0].dataset.kind;
      if (kind) value.setAttribute("list", `values-${kind}`);
    };
    reflex.addEventListener("change", offer);
    offer();
  }

  // What a person sees and hears first.
  showPlace();
  const first = $("[role=alert][data-focus]") || $("[data-focus]");
  if (first) first.focus({ preventScroll: true });
  const live = $("#live");
  if (live && live.dataset.say) {
    const far = $("#far");
    setTimeout(() => { live.textContent = `${live.dataset.say} ${far ? far.textContent : ""}`; }, 150);
  }
})();
