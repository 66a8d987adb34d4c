/* What a page of the workbook does by itself: draws its forms, keeps one line on what it still
   needs, keeps stray keys from its cells, shows or hides the code. JupyterLab loads it as it is,
   there is no build; everything that can be in Python is there (page.py). */
(() => {
  const CODE = 'fptlib:code', RUN = 'notebook:run-all-cells';
  const WIDGET = 'application/vnd.jupyter.widget-view+json';
  const FIELD = 'input, select, textarea';
  const CONTROL = 'input:not([type=file]), select, textarea, button';
  // What takes keys by itself; everywhere else on the page a key belongs to the browser.
  const TAKES_KEYS = `${FIELD}, .jp-Toolbar, .lm-MenuBar, .lm-Menu, .jp-Dialog`;
  const NOT_REACHED = ['', 'initializing', 'connecting', 'unknown', 'disconnected'];
  let shared;

  /** A module that JupyterLab shares, by its name. */
  const load = async name => (await Object.values(shared[name])[0].get())();

  const pause = time => new Promise(done => setTimeout(done, time));

  /** The picture's words, which its output carries beside it: JupyterLab gives it none; and its
      zoom, where it has time across. */
  function describe(cell, session) {
    const pictures = [...cell.node.querySelectorAll('.jp-RenderedImage img')];
    const outputs = cell.model.type === 'code' ? cell.model.outputs : { length: 0 };
    for (let n = 0; n < outputs.length; n++) {
      const picture = outputs.get(n).data['image/png'] && pictures.shift();
      if (!picture) continue;
      const about = outputs.get(n).metadata['image/png'] ?? {};
      picture.setAttribute('alt', about.alt ?? '');
      if (about.time && picture.draggable) zoomable(picture, about, session);
    }
  }

  const made = (tag, className, textContent = '') =>
    Object.assign(document.createElement(tag), { className, textContent });

  // What each button makes of the stretch that is shown, as shares of the whole one.
  const ZOOM = {
    'Zoom in': (from, to) => [from + (to - from) / 4, to - (to - from) / 4],
    'Zoom out': (from, to) => [from - (to - from) / 2, to + (to - from) / 2],
    Earlier: (from, to) => [from - (to - from) / 2, to - (to - from) / 2],
    Later: (from, to) => [from + (to - from) / 2, to + (to - from) / 2],
    All: () => [0, 1],
  };

  /** Charts over time are looked at more nearly by a drag across them, or by the buttons below. The
      kernel draws the stretch with all its rows (figures/zoom.py); the output itself, and with it
      what is saved, stays as it was. */
  function zoomable(picture, { alt, time }, session) {
    picture.draggable = false;
    const shown = time.map(() => [0, 1]);
    const bars = time.map((_, n) => {
      const bar = made('div', 'fpt-zoom'), said = made('span', '', 'Drag across the chart to zoom.');
      bar.setAttribute('role', 'group');
      bar.setAttribute('aria-label', `Zoom of chart ${n + 1}: ${alt}`);
      said.setAttribute('role', 'status');
      if (time.length > 1) bar.append(made('b', '', `Chart ${n + 1}`));
      for (const [name, change] of Object.entries(ZOOM)) {
        const button = made('button', '', name);
        button.onclick = () => show(n, ...change(...shown[n]));
        bar.append(button);
      }
      bar.append(said);
      return { bar, said };
    });
    picture.after(...bars.map(each => each.bar));

    async function show(n, from, to) {
      const view = `__import__('fptlib.workbook.figures.zoom', fromlist=['view']).view(${
        JSON.stringify(alt)}, ${n}, ${from}, ${to})`;
      const reply = await session.session?.kernel?.requestExecute({ code: '', silent: true,
        store_history: false, user_expressions: { view } }).done;
      const { status, data, metadata } = reply?.content.user_expressions?.view ?? {};
      if (status !== 'ok') {
        bars[n].said.textContent = 'Press “Run this step” first.';
        return;
      }
      picture.src = `data:image/png;base64,${data['image/png']}`;
      shown[n] = metadata['image/png'].share;
      bars[n].said.textContent = metadata['image/png'].shown;
    }

    picture.addEventListener('pointerdown', down => {
      const box = picture.getBoundingClientRect();
      const at = event => (event.clientX - box.left) / box.width;
      const x = at(down), y = (down.clientY - box.top) / box.height;
      const n = time.findIndex(([left, right, top, bottom]) =>
        left <= x && x <= right && top <= y && y <= bottom);
      if (n < 0 || down.button) return;
      const [left, right, top, bottom] = time[n], mark = made('div', 'fpt-stretch');
      let ends = [x, x];
      picture.setPointerCapture(down.pointerId);
      picture.after(mark);
      picture.onpointermove = event => {
        ends = [x, Math.min(Math.max(at(event), left), right)].sort((a, b) => a - b);
        Object.assign(mark.style, { left: `${picture.offsetLeft + ends[0] * box.width}px`,
          width: `${(ends[1] - ends[0]) * box.width}px`,
          top: `${picture.offsetTop + top * box.height}px`,
          height: `${(bottom - top) * box.height}px` });
      };
      picture.onlostpointercapture = () => {
        picture.onpointermove = picture.onlostpointercapture = null;
        mark.remove();
        const [from, to] = shown[n];
        if (ends[1] - ends[0] > 0.01)
          show(n, ...ends.map(each => from + (each - left) / (right - left) * (to - from)));
      };
    });
  }

  /** Wait until the widgets' manager has taken over what a running kernel holds, as in a second
      window: what is drawn sooner asks for layouts that the manager does not know yet, two seconds
      each. It has once it can show one widget of the kernel; of a kernel without any, once it
      answers at all. */
  async function takenOver(notebook, kernel) {
    for (let tries = 0; tries < 100; tries++) {
      const held = await kernel.requestCommInfo({ target_name: 'jupyter.widget' });
      const [model_id = ''] = Object.keys(held.content.comms ?? {});
      const renderer = notebook.rendermime.createRenderer(WIDGET);
      const data = { [WIDGET]: { model_id } };
      const shown = renderer.renderModel({ data, metadata: {}, trusted: true }).then(
        () => !model_id || renderer.widgets.length > 0 || renderer.hasClass('jupyter-widgets'),
        () => true);  // a layout, which has nothing to show
      if (!await Promise.race([shown, pause(model_id ? 3000 : 200)])) continue;
      renderer.dispose();
      return;
    }
  }

  /** Let one page draw its forms as soon as its kernel can, and follow what they say. */
  async function attend(panel, actions, Widget) {
    const notebook = panel.content, session = panel.sessionContext;
    // What stands above the page, and the parts of the page it is taken from: the line on what the
    // step needs; clocks and abort conditions of a running test, with nothing to scroll to.
    const above = Object.entries({
      'fpt-now': '.fpt-badge .widget-html-content',
      'fpt-clocks': '.fpt-running .fpt-clock .widget-html-content',
      'fpt-aborts': '.fpt-running .fpt-watch .widget-html-content',
    }).map(([name, from]) => {
      const widget = new Widget(), line = document.createElement('div');
      line.className = name;
      widget.node.append(line);
      panel.contentHeader.addWidget(widget);
      // The header gives a widget the height it asks for, and does not look at what is in it.
      new ResizeObserver(() => {
        widget.node.style.minHeight = `${line.offsetHeight}px`;
        widget.fit();
        panel.contentHeader.fit();
      }).observe(line);
      return { line, from };
    });
    above[0].line.setAttribute('role', 'status');
    let drawn = false;
    const look = () => panel.toggleClass('fpt-ready', drawn && !!session.session?.kernel
      && !NOT_REACHED.includes(session.kernelDisplayStatus));
    const follow = () => {
      for (const { line, from } of above) {
        const said = notebook.node.querySelector(from)?.innerHTML ?? '';
        if (line.said !== said) line.innerHTML = line.said = said;
      }
      notebook.widgets.forEach(cell => describe(cell, session));
    };
    new MutationObserver(follow).observe(notebook.node, { subtree: true, childList: true,
      characterData: true });
    for (const signal of [session.statusChanged, session.connectionStatusChanged,
      session.kernelChanged]) signal.connect(look);
    await Promise.all([panel.context.ready, panel.revealed, session.ready]);
    await takenOver(notebook, session.session.kernel);
    const forms = notebook.widgets.filter(
      cell => (cell.model.getMetadata('tags') ?? []).includes('form'));
    await actions.runCells(notebook, forms, session);
    drawn = true;
    look();
    // The next Tab begins at the top, where the skip link is, and not among the cells.
    if (!document.activeElement?.matches(FIELD)) {
      document.body.tabIndex = -1;
      document.body.focus({ preventScroll: true });
    }
  }

  /** End a page, and with it its kernel, once another was opened from it and nothing runs in it any
      more: its answers are in the job, and twelve kernels fill a field laptop. */
  async function leave(panel, tracker) {
    await panel.context.ready;
    while (panel.sessionContext.session?.kernel?.status === 'busy') await pause(500);
    if (tracker.currentWidget === panel || panel.isDisposed) return;
    await panel.context.save().catch(() => 0);
    panel.close();
  }

  /** The first control of a form that can be used now. */
  const firstOf = form => [...form.querySelectorAll(CONTROL)].find(
    each => each.offsetParent && !each.disabled);

  const go = to => {
    to?.focus();
    to?.scrollIntoView({ block: 'center' });
  };

  /** The next form, or the one before; from where there is none, the first or the last. */
  function nextForm(at, back) {
    const forms = [...document.querySelectorAll('.fpt-form')].filter(firstOf);
    if (back) forms.reverse();
    const side = back ? Node.DOCUMENT_POSITION_PRECEDING : Node.DOCUMENT_POSITION_FOLLOWING;
    const on = forms.find(form => !form.contains(at) && at.compareDocumentPosition(form) & side);
    go(firstOf(on ?? forms[0] ?? document.body));
  }

  /** The link to the step after this one. */
  const nextStep = page => page?.querySelector('nav [aria-current=step]')?.closest('li')
    .nextElementSibling?.querySelector('a') ?? page?.querySelector('nav li a');

  /** Stray keys reach no cell. F8 runs the step, Ctrl+Enter presses the form's main button, both
      with what is half typed taken as answered; F9 goes to the next form, Shift+F9 to the one
      before, Ctrl+F9 to the links of the steps. */
  function guard(app, tracker) {
    window.addEventListener('keydown', event => {
      const panel = tracker.currentWidget, at = event.target;
      if (event.key === 'F9' && !at.closest('.jp-Dialog, .lm-Menu')) {
        event.preventDefault();
        if (event.ctrlKey) go(nextStep(panel?.node)); else nextForm(at, event.shiftKey);
      }
      if (!panel || !(at.matches('body, .fpt-skip') || panel.node.contains(at))) return;
      if (event.key === 'F8') {
        event.preventDefault();
        at.dispatchEvent(new Event('change', { bubbles: true }));
        if (panel.hasClass('fpt-ready')) app.commands.execute(RUN);
      }
      const press = event.key === 'Enter' && (event.ctrlKey || event.metaKey)
        && at.closest('.fpt-form')?.querySelector('.mod-primary:not(:disabled)');
      if (press) {
        event.preventDefault();
        at.dispatchEvent(new Event('change', { bubbles: true }));
        press.click();
      }
      const saves = (event.ctrlKey || event.metaKey) && event.key === 's';
      const runs = event.key === 'Enter' && (event.shiftKey || event.ctrlKey || event.altKey);
      // An arrow in a list would else move to another cell.
      if (event.key === 'F8' || runs || !saves && (at.matches('select') || !at.closest(TAKES_KEYS)))
        event.stopPropagation();
    }, true);
    window.addEventListener('click', event => {
      if (!event.target.matches?.('.fpt-to-verdicts')) return;
      event.preventDefault();
      const verdicts = [...(tracker.currentWidget?.node.querySelectorAll('caption') ?? [])].find(
        each => each.innerText.startsWith('Verdicts of step'));
      if (verdicts) verdicts.tabIndex = -1;
      verdicts?.focus();
      verdicts?.scrollIntoView();
    });
    // The menus of cells and what a double click or a drag does to them.
    for (const kind of ['contextmenu', 'dblclick', 'dragstart'])
      window.addEventListener(kind, event => {
        if (event.target.closest?.('.jp-Cell') && !event.target.closest(FIELD))
          event.stopPropagation();
      }, true);
  }

  /** A button that is disabled while it works loses the focus; it gets it back when it is done,
      unless the user has gone elsewhere meanwhile. */
  function keepFocus() {
    let left;
    new MutationObserver(changes => changes.forEach(({ target }) => {
      if (target.disabled && target === document.activeElement) left = target;
      if (target.disabled || target !== left) return;
      if (document.activeElement === document.body) target.focus({ preventScroll: true });
      left = null;
    })).observe(document.body, { subtree: true, attributeFilter: ['disabled'] });
  }

  /** Files that are dropped on the field for them are taken as if they were chosen there. */
  function drops() {
    for (const kind of ['dragenter', 'dragover', 'dragleave', 'drop'])
      window.addEventListener(kind, event => {
        const field = event.target.closest?.('.fpt-drop');
        if (!field || !event.dataTransfer?.types.includes('Files')) return;
        event.preventDefault();
        event.stopPropagation();
        field.classList.toggle('fpt-over', kind === 'dragenter' || kind === 'dragover');
        if (kind !== 'drop') return;
        // The button opens a chooser; this once it is given the files instead.
        const { click } = HTMLInputElement.prototype, { files } = event.dataTransfer;
        HTMLInputElement.prototype.click = function () {
          this.files = files;
          this.dispatchEvent(new Event('change'));
        };
        try {
          field.querySelector('.fpt-upload').click();
        } finally {
          HTMLInputElement.prototype.click = click;
        }
      }, true);
  }

  /** What is typed as a passphrase never reaches the kernel: when a button needs it, the server gets
      it, opens the key in a process of its own, and the field gets a ticket for that process. */
  function passphrases({ ServerConnection, URLExt }, settings) {
    const SECRET = '.fpt-sign-secret input',
      BUTTONS = '.fpt-sign, .fpt-make-key, .fpt-countersign, .fpt-approve';
    let ticket = '';
    for (const kind of ['input', 'change', 'keypress'])
      window.addEventListener(kind, event => {
        if (event.target.matches?.(SECRET) && event.target.value !== ticket)
          event.stopPropagation();
      }, true);
    window.addEventListener('click', async event => {
      const press = event.target.closest?.(BUTTONS), form = press?.closest('.fpt-form');
      const field = form?.querySelector(SECRET);
      if (!field?.value || field.value === ticket) return;
      event.preventDefault();
      event.stopPropagation();
      const body = JSON.stringify({ passphrase: field.value,
        file: form.querySelector('.fpt-sign-key input').value,
        make: press.classList.contains('fpt-make-key') });
      field.value = '';
      const answer = await ServerConnection.makeRequest(
        URLExt.join(settings.baseUrl, 'fptlib/unlock'), { method: 'POST', body }, settings)
        .then(given => given.json()).catch(() => ({}));
      ticket = field.value = answer.ticket ?? 'refused:the notebook server did not answer';
      for (const kind of ['input', 'change'])
        field.dispatchEvent(new Event(kind, { bubbles: true }));
      press.click();
    }, true);
  }

  /** The first thing a Tab reaches: over menus and cells to the first field. */
  function skipLink() {
    const link = document.createElement('a');
    Object.assign(link, { href: '#', className: 'fpt-skip', textContent: 'Skip to the form '
      + '(F9: next form, Ctrl+Enter: its main button, F8: run, Ctrl+F9: the steps)' });
    link.addEventListener('click', event => {
      event.preventDefault();
      nextForm(document.body);
    });
    document.body.prepend(link);
  }

  async function extension() {
    const { INotebookTracker, NotebookActions } = await load('@jupyterlab/notebook');
    const { Widget } = await load('@lumino/widgets');
    const { ServerConnection } = await load('@jupyterlab/services');
    const { URLExt } = await load('@jupyterlab/coreutils');
    return { __esModule: true, default: {
      id: 'fptlib-page:plugin', autoStart: true, requires: [INotebookTracker],
      activate(app, tracker) {
        let code = false;
        app.commands.addCommand(CODE, {
          label: () => code ? 'Hide code' : 'Show code',
          execute: () => {
            code = !code;
            (code ? NotebookActions.showAllCode : NotebookActions.hideAllCode)(
              tracker.currentWidget.content);
            app.commands.notifyCommandChanged(CODE);
          } });
        tracker.widgetAdded.connect((_, panel) => {
          attend(panel, NotebookActions, Widget);
          panel.revealed.then(() => tracker.filter(each => each !== panel).forEach(
            each => leave(each, tracker)));
        });
        guard(app, tracker);
        keepFocus();
        drops();
        passphrases({ ServerConnection, URLExt }, app.serviceManager.serverSettings);
        skipLink();
      } } };
  }

  window._JUPYTERLAB = window._JUPYTERLAB || {};
  window._JUPYTERLAB['fptlib-page'] = {
    init(scope) { shared = scope; },
    async get() { const found = await extension(); return () => found; },
  };
})();
