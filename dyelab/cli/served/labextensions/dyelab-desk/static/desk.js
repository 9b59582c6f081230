// JupyterLab as a desk: it opens on the book's home, a page of panels runs when it is opened with
// its code folded away, and a page whose kernel has ended says so and offers to run again.
(() => {
  const HOME = "0_start.ipynb";
  // In the page's language, as its panels left them there, now or when this browser last saw one.
  const TEXTS = "dyelab-texts";
  const said = (name) => (window.dyelabTexts || JSON.parse(localStorage.getItem(TEXTS) || "{}"))[name] || "↻";
  // Only what opens a panel of ours is run unasked: a notebook from somebody else is not.
  const OURS = /^(from dyelab\.panel import [\w, ]+|(display\()?\w+\.panel\(\)\)?|\s*)$/;
  const wait = (ms) => new Promise((done) => setTimeout(done, ms));

  function sources(page) {
    const cells = page.content.model ? [...page.content.model.cells] : [];
    return cells.filter((cell) => cell.type === "code").map((cell) => cell.sharedModel.getSource());
  }

  function ours(page) {
    const found = sources(page);
    return found.length > 0 && found.every((text) => text.split("\n").every((line) => OURS.test(line)));
  }

  function fold(page) {
    page.content.widgets.forEach((cell) => {
      if (cell.model.type === "code") cell.inputHidden = true;
    });
  }

  async function idle(page) {
    for (let i = 0; i < 600; i += 1) {
      const kernel = page.sessionContext.session && page.sessionContext.session.kernel;
      if (kernel && kernel.status === "idle" && kernel.connectionStatus === "connected") return;
      await wait(100);
    }
  }

  // How often the page's cells have been run, as their numbers say.
  const count = (page) => Math.max(0, ...[...page.content.model.cells].map((cell) => cell.executionCount || 0));

  // The command runs the page in front: one page after the other.
  let running = Promise.resolve();
  const run = (app, page) => {
    running = running.then(() => runs(app, page)).catch((fault) => console.error(fault));
    return running;
  };

  async function runs(app, page) {
    await idle(page);
    await wait(150); // the notebook forgets a run that is asked for while it joins its kernel
    app.shell.activateById(page.id);
    // Running leads to the last cell; a reader begins at the first, and stays where they have gone.
    let reading = Boolean(window.dyelabDesk.goal);
    const gone = () => { reading = true; };
    ["wheel", "keydown", "pointerdown"].forEach((what) => page.node.addEventListener(what, gone, { once: true }));
    const top = () => {
      if (reading) return;
      page.content.activeCellIndex = 0;
      (page.content.outerNode || page.content.node).scrollTop = 0;
    };
    const before = count(page);
    for (let i = 0; i < 5 && count(page) === before; i += 1) { // a run asked for too early is forgotten
      const done = app.commands.execute("notebook:run-all-cells");
      top();
      await done;
      if (count(page) === before) await wait(300);
    }
    for (let i = 0; i < 20; i += 1, await wait(100)) top(); // panels grow as they are drawn
    if (window.dyelabTexts) localStorage.setItem(TEXTS, JSON.stringify(window.dyelabTexts));
  }

  function say(app, page) {
    if (page.node.querySelector(".dyelab-ended")) return;
    page.node.classList.add("dyelab-stopped");
    const bar = document.createElement("div");
    bar.className = "dyelab-ended";
    bar.setAttribute("role", "alert");
    bar.style.cssText = "position:absolute;z-index:20;left:0;right:0;bottom:0;padding:12px 20px;display:flex;flex-wrap:wrap;gap:12px;align-items:center;background:var(--jp-layout-color0);color:var(--jp-content-font-color0);border-top:2px solid currentColor;font-size:1rem";
    const press = document.createElement("button");
    press.textContent = said("run_again");
    press.style.cssText = "font:inherit;padding:4px 14px;color:inherit;background:none;border:1px solid currentColor;cursor:pointer";
    press.addEventListener("click", async () => {
      bar.remove();
      page.node.classList.remove("dyelab-stopped");
      page.content.widgets.forEach((cell) => cell.model.type === "code" && cell.model.clearExecution && cell.model.clearExecution());
      if (!page.sessionContext.session || page.sessionContext.session.kernel.status !== "idle") await page.sessionContext.restartKernel();
      await run(app, page);
    });
    bar.append(said("ended"), press);
    page.node.append(bar);
  }

  async function take(app, page) {
    await page.context.ready;
    await page.revealed;
    for (let i = 0; i < 100 && !page.content.model; i += 1) await wait(100); // a tab of yesterday's
    if (!ours(page)) return;
    fold(page);
    await page.sessionContext.ready;
    page.sessionContext.statusChanged.connect((_, status) => {
      if (["dead", "terminating", "restarting", "autorestarting"].includes(status)) say(app, page);
    });
    const kept = [...page.content.model.cells].some((cell) => cell.type === "code" && cell.outputs.length > 0);
    if (kept) await wait(300); // what a page kept of itself may still be alive, once it is drawn
    const live = kept && page.node.querySelector(".dyelab");
    if (!live) await run(app, page);
  }

  function activate(app) {
    if (!app.shell || !app.shell.currentChanged || !app.commands.hasCommand) return; // not a lab
    const known = new WeakSet();
    // Until yesterday's tabs are all there each comes in front for a moment: only one that stays is run.
    let settled = false;
    const style = document.createElement("style");
    style.textContent = ".dyelab-stopped .dyelab { opacity: 0.45; pointer-events: none; } .jupyter-widgets-disconnected::before, .dyelab .jupyter-widgets-disconnected::before { display: none !important; }";
    document.head.append(style);
    const look = () => {
      const page = app.shell.currentWidget;
      if (!page || known.has(page) || !page.sessionContext || !page.context || !page.content || !("widgets" in page.content)) return;
      const begin = () => {
        if (app.shell.currentWidget !== page || known.has(page)) return;
        known.add(page);
        take(app, page).catch((fault) => console.error(fault));
      };
      if (settled) begin(); else setTimeout(begin, 500);
    };
    app.shell.currentChanged.connect(look);
    // Home is read anew each time it is come back to: other pages have changed the book since.
    const open = async (path, goal) => {
      window.dyelabDesk.goal = goal;
      const page = await app.commands.execute("docmanager:open", { path });
      if (path === HOME && page && known.has(page) && ours(page)) await run(app, page);
      const there = goal && page && page.node.querySelector(`.dyelab[data-panel="${goal}"]`);
      if (there) there.scrollIntoView();
    };
    window.dyelabDesk = { open };
    app.restored.then(async () => {
      for (let i = 0; i < 50 && !app.commands.hasCommand("docmanager:open"); i += 1) await wait(100);
      const shown = [...app.shell.widgets("main")].some((widget) => widget.context);
      if (!shown && !location.pathname.includes("/tree/")) {
        app.shell.collapseLeft(); // home leads everywhere; the list of files is a press away
        await app.commands.execute("docmanager:open", { path: HOME });
      }
      setTimeout(() => { settled = true; }, 1000);
      for (let i = 0; i < 100; i += 1, await wait(200)) look();
    });
  }

  const plugin = { id: "dyelab-desk:plugin", autoStart: true, activate };
  window._JUPYTERLAB = window._JUPYTERLAB || {};
  window._JUPYTERLAB["dyelab-desk"] = {
    init: () => undefined,
    get: async () => () => ({ __esModule: true, default: plugin }),
  };
})();
