// What the widgets leave out for keyboards and screen readers, set once they are on the page.
function label(handle) {
  const box = handle.closest(".widget-inline-hbox, .widget-slider");
  const name = box && box.querySelector(".widget-label");
  if (name) handle.setAttribute("aria-label", name.textContent.trim());
  const value = box && box.querySelector(".widget-readout");
  if (value) handle.setAttribute("aria-valuetext", value.textContent.trim());
}

// Texts in the page's language, kept on the page: they are still asked for when Python has ended.
const said = (name) => (window.dyelabTexts || {})[name] || "";

// What is worked by keys alone: the notebook would take an arrow there as its own, for the next cell.
const WORKED = "select, .noUi-handle, input[type=checkbox], .widget-readout";

function dress(root) {
  root.querySelectorAll(WORKED).forEach((one) => one.setAttribute("data-lm-suppress-shortcuts", "true"));
  root.querySelectorAll('[title=null]').forEach((one) => one.removeAttribute("title"));
  root.querySelectorAll("button > i").forEach((icon) => icon.setAttribute("aria-hidden", "true"));
  root.querySelectorAll(".noUi-handle").forEach(label);
  root.querySelectorAll(".widget-readout[contenteditable]").forEach((readout) => {
    const box = readout.closest(".widget-inline-hbox, .widget-slider");
    const name = box && box.querySelector(".widget-label");
    readout.setAttribute("role", "textbox");
    if (name) readout.setAttribute("aria-label", said("typed").replace("{name}", name.textContent.trim()));
  });
  root.querySelectorAll(".dl-answer").forEach((answer) => {
    answer.setAttribute("role", "status");
    answer.setAttribute("aria-live", "polite");
  });
  root.querySelectorAll("input, select, textarea").forEach((field) => {
    if (field.labels && field.labels.length) return;
    const box = field.closest(".jupyter-widgets");
    const name = box && box.querySelector(".widget-label");
    if (name && !field.getAttribute("aria-label")) {
      field.setAttribute("aria-label", name.textContent.trim());
    }
  });
}

// What is typed beside a slider is cut at the slider's ends by the widget, without a word: say so.
function past(event) {
  const readout = event.target.closest(".widget-readout[contenteditable]");
  const slider = event.target.closest(".widget-slider");
  if (!slider) return;
  const told = slider.querySelector(".dl-past");
  if (told && ["input", "pointerdown"].includes(event.type)) told.remove();
  if (!readout || !(event.type === "focusout" || event.key === "Enter")) return;
  const handle = slider.querySelector(".noUi-handle");
  const [low, high] = ["min", "max"].map((end) => parseFloat(handle.getAttribute(`aria-value${end}`)));
  const typed = parseFloat(readout.textContent);
  if (!(typed < low || typed > high)) return;
  const say = slider.appendChild(document.createElement("p"));
  say.className = "dl-past";
  say.setAttribute("role", "status");
  const values = { typed, low, high };
  say.textContent = said("past_slider").replace(/{(\w+)}/g, (_, name) => values[name]);
}

// A link to another page: in JupyterLab it opens as a tab there, and runs; a served page follows
// the link as it is. A page saved to share opens in the browser: JupyterLab shows it without its
// scripts, so that a page to guess on has no cloths.
function lead(event) {
  const link = event.target.closest && event.target.closest("a.dl-to");
  const lab = window.dyelabDesk;
  if (!link || !lab || event.ctrlKey || event.metaKey) return;
  event.preventDefault();
  const path = link.getAttribute("href").replace("../files/", "");
  const { baseUrl } = JSON.parse(document.getElementById("jupyter-config-data").textContent);
  if (path.endsWith(".html")) window.open(`${baseUrl}files/${path}`, "_blank", "noopener");
  else lab.open(...decodeURIComponent(path).split("#"));
}

// A link may name a panel of its page (`1_plan.ipynb#record`): the page opens there, and stays
// there while what stands above it grows, until the reader goes elsewhere.
function arrive(root, name) {
  const goal = window.dyelabDesk ? window.dyelabDesk.goal : location.hash.slice(1);
  if (goal !== name) return;
  const come = setInterval(() => root.scrollIntoView(), 200);
  const end = () => clearInterval(come);
  setTimeout(end, 4000);
  ["wheel", "keydown", "pointerdown"].forEach((what) => addEventListener(what, end, { once: true }));
}

// What a press has done is brought into view, where it is said out of sight.
function follow(root) {
  let pressed = -Infinity;
  root.addEventListener("click", (event) => {
    if (event.target.closest(".dl-button")) pressed = performance.now();
  });
  return (changes) => {
    const said = changes.map(({ target }) => (target.closest ? target : target.parentElement))
      .map((one) => one && one.closest(".dl-answer, .dl-saved")).find((one) => one && one.textContent.trim());
    if (!said || performance.now() - pressed > 30000) return;
    pressed = -Infinity;
    setTimeout(() => said.scrollIntoView({ block: "nearest" }), 100);
  };
}

// Big type for the projector: one press for all panels on the page, kept by the browser.
const BIG = "dyelab-big-type";
const isBig = () => localStorage.getItem(BIG) === "yes";
function size() {
  document.querySelectorAll(".dyelab").forEach((panel) => panel.classList.toggle("dl-big", isBig()));
  document.querySelectorAll(".dl-type").forEach((press) => press.setAttribute("aria-pressed", String(isBig())));
}
function offerBigType(root, text) {
  const head = root.querySelector(".dl-head");
  if (!head || head.querySelector(".dl-type")) return;
  const press = document.createElement("button");
  press.type = "button";
  press.className = "dl-button dl-type";
  press.textContent = text;
  press.addEventListener("click", () => {
    localStorage.setItem(BIG, isBig() ? "no" : "yes");
    size();
  });
  head.append(press);
  size();
}

function render({ model, el }) {
  el.style.display = "none";
  window.dyelabTexts = model.get("texts");
  let watch = null;
  let last = performance.now();
  // Looked at again: Python looks whether another page has changed the book meanwhile.
  const seen = () => {
    if (document.hidden || performance.now() - last < 1000) return;
    last = performance.now();
    model.send({ kind: "seen" });
  };
  const sight = new IntersectionObserver((now) => now.some((one) => one.isIntersecting) && seen());
  document.addEventListener("visibilitychange", seen);
  const start = setInterval(() => {
    const root = el.closest(".dyelab");
    if (!root) return;
    clearInterval(start);
    root.setAttribute("role", "region");
    const name = () => root.setAttribute("aria-label", model.get("title"));
    name();
    model.on("change:title", name);
    root.addEventListener("click", lead);
    root.addEventListener("keydown", (event) => {
      if (event.target.matches(WORKED) && !event.ctrlKey && !event.metaKey) event.stopPropagation();
    });
    ["input", "pointerdown", "keydown", "focusout"].forEach((what) => root.addEventListener(what, past, true));
    sight.observe(root);
    offerBigType(root, said("big"));
    dress(root);
    root.dataset.panel = model.get("name");
    arrive(root, model.get("name"));
    const come = follow(root);
    let due = null;
    watch = new MutationObserver((changes) => {
      come(changes);
      clearTimeout(due);
      due = setTimeout(() => dress(root), 60);
    });
    watch.observe(root, { childList: true, subtree: true, characterData: true });
  }, 50);
  return () => {
    clearInterval(start);
    sight.disconnect();
    document.removeEventListener("visibilitychange", seen);
    if (watch) watch.disconnect();
  };
}
export default { render };
