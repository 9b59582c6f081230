// What was ticked, as lines of text to hand in; and the class's lines counted beside each choice.
(() => {
  const make = (tag, given = {}, ...inside) => {
    const made = document.createElement(tag);
    Object.entries(given).forEach(([name, value]) => made.setAttribute(name, value));
    made.append(...inside);
    return made;
  };
  // a blank such as {count:# swatch|# swatches} takes its first form for 1, as in words.say
  const say = (key, values = {}) => HAND_IN[key].replace(/\{(\w+)(?::([^|}]*)\|([^}]*))?\}/g, (_, name, one, many) =>
    one === undefined ? values[name] : (String(values[name]) === "1" ? one : many).replace("#", values[name]));
  const asked = [...document.querySelectorAll("fieldset[data-key]")], root = document.querySelector(".hand_in");
  const boxes = (field) => [...field.querySelectorAll("input")], head = "student,question,ticked";
  const counts = asked.map((field) => boxes(field).map((box) => box.parentNode.appendChild(make("output", { class: "count" }))));
  const out = make("textarea", { readonly: "", "aria-label": say("hand_in") }), copied = make("p", { role: "status", class: "small" });
  const given = make("textarea", { "aria-label": say("gather") }), told = make("p", { role: "status" });
  // a name is kept to one cell, and can't begin a formula where the lines are opened as a sheet
  const student = () => (document.querySelector(".fields input")?.value || "").replace(/[,"\r\n]/g, " ").trim().replace(/^[=+\-@]+/, "").trim().slice(0, 60) || say("nobody");
  function write() {
    const lines = asked.map((field) => [student(), field.dataset.key, boxes(field).flatMap((box, i) => (box.checked ? [i + 1] : [])).join(" ")]);
    out.value = [head, ...lines.filter(([, , ticked]) => ticked).map((line) => line.join(","))].join("\n") + "\n";
  }
  function count() {
    const known = new Map(asked.map((field, i) => [field.dataset.key, i])), last = new Map(), names = new Set();
    let left = 0;
    for (const line of given.value.split(/\r?\n/).map((text) => text.trim())) {
      const [name, key, ticked, ...more] = line.split(",").map((part) => part.trim());
      if (!line || line === head) continue;
      if (more.length || !known.has(key) || !/^\d+( \d+)*$/.test(ticked || "")) { left += 1; continue; }
      names.add(name); last.set(JSON.stringify([name, key]), [known.get(key), ticked.split(" ").map(Number)]);
    }
    const sums = counts.map((row) => row.map(() => 0));
    last.forEach(([at, ticked]) => new Set(ticked).forEach((n) => { if (n >= 1 && n <= sums[at].length) sums[at][n - 1] += 1; }));
    counts.forEach((row, i) => row.forEach((place, j) => { place.textContent = names.size ? `${sums[i][j]}` : ""; }));
    told.textContent = names.size || left ? say("counted", { students: names.size, left }) : "";
  }
  const press = (key, work) => { const button = make("button", { type: "button" }, say(key)); button.addEventListener("click", work); return button; };
  root.append(make("h2", {}, say("hand_in")), make("p", { class: "small" }, say("hand_in_how")), out,
    make("div", { class: "moments" },
      press("copy", async () => { out.select(); try { await navigator.clipboard.writeText(out.value); } catch { document.execCommand("copy"); } copied.textContent = say("copied"); }),
      press("keep", () => make("a", { href: URL.createObjectURL(new Blob([out.value], { type: "text/csv" })), download: "choices.csv" }).click())),
    copied, make("details", { class: "reveal" }, make("summary", {}, say("teacher_counts")), make("p", { class: "small" }, say("gather_how")), given, told));
  document.addEventListener("input", (event) => (event.target === given ? count() : write()));
  document.addEventListener("change", (event) => { if (event.target !== given) write(); });
  write();
})();
