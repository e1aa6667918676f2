// The frame's script: contents on a phone, languages of samples, copying. Knows the frame's markup.

import { startSearch } from "./search.js";
import { startTryIt } from "./try_it.js";

const BASE = "http://127.0.0.1:8000";
const LANGUAGE = "shortway-docs-language";

function startMenu() {
  const menu = document.getElementById("menu");
  const pages = document.getElementById("pages");
  menu.hidden = false;
  pages.classList.add("closed");
  const current = pages.querySelector("[aria-current]");
  if (current) pages.scrollTop = current.offsetTop - pages.offsetTop - pages.clientHeight / 2;
  menu.addEventListener("click", () => {
    const isClosed = pages.classList.toggle("closed");
    menu.setAttribute("aria-expanded", String(!isClosed));
    if (!isClosed) pages.querySelector("a").focus();
  });
}

// Samples name the service that the page comes from.
function nameService() {
  if (location.origin === BASE) return;
  for (const code of document.querySelectorAll(".example code")) code.textContent = code.textContent.replaceAll(BASE, location.origin);
}

function startLanguages() {
  const bar = document.querySelector(".languages");
  if (!bar) return;
  const buttons = [...bar.querySelectorAll("button")];
  const choose = (language) => {
    for (const button of buttons) button.setAttribute("aria-pressed", String(button.dataset.language === language));
    for (const block of document.querySelectorAll("pre[data-language]")) block.parentElement.hidden = block.dataset.language !== language;
  };
  bar.hidden = false;
  bar.addEventListener("click", ({ target }) => {
    if (!target.dataset.language) return;
    choose(target.dataset.language);
    localStorage.setItem(LANGUAGE, target.dataset.language);
  });
  const kept = localStorage.getItem(LANGUAGE);
  choose(buttons.some((button) => button.dataset.language === kept) ? kept : buttons[0].dataset.language);
}

function addCopyButtons() {
  for (const block of document.querySelectorAll("pre:has(> code)")) {
    const button = Object.assign(document.createElement("button"), { type: "button", className: "plain copy", textContent: "Copy" });
    button.setAttribute("aria-label", `Copy ${block.getAttribute("aria-label") ?? "code"}`);
    button.addEventListener("click", () => copy(block, button));
    const frame = Object.assign(document.createElement("div"), { className: "code" });
    block.replaceWith(frame);
    frame.append(block, button);
  }
}

async function copy(block, button) {
  const text = block.textContent;
  try {
    await navigator.clipboard.writeText(text);
  } catch {  // no clipboard without a secure context: the text is selected, to be copied by hand
    getSelection().selectAllChildren(block);
    button.textContent = "Selected";
    return;
  }
  button.textContent = "Copied";
  setTimeout(() => { button.textContent = "Copy"; }, 1500);
}

// A link into closed details opens them.
function openTarget() {
  const target = document.getElementById(decodeURIComponent(location.hash.slice(1)));
  if (!target) return;
  for (let at = target.closest("details"); at; at = at.parentElement.closest("details")) at.open = true;
  target.scrollIntoView();
}

startMenu();
nameService();
addCopyButtons();
startLanguages();
startSearch();
startTryIt();
addEventListener("hashchange", openTarget);
if (location.hash) openTarget();
