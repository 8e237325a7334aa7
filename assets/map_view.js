/* The canvas over the map: follows the map's view, paints statuses, answers pointer and keys.

   The plotting library tells of every drag and zoom (`plotly_relayouting`). Where its map object
   can be reached we listen to that too, which also covers glides after a drag; without it the
   screen still works. */
(function () {
  "use strict";
  const pourmap = (window.pourmap = window.pourmap || {});
  const MOUSE_REACH = 8;
  const TOUCH_REACH = 22;

  const map = (pourmap.map = { view: null, scene: null, seen: [], plot: null });

  const wrapper = () => document.getElementById("map-view");
  const plotIn = (box) => box.querySelector(".js-plotly-plot");

  /* The map library's own object, or null: it is no public part of the plotting library. */
  pourmap.mapObject = function (plot) {
    const subplot = plot && plot._fullLayout && plot._fullLayout.map && plot._fullLayout.map._subplot;
    return (subplot && subplot.map) || null;
  };

  function viewOfLayout(plot) {
    const { center, zoom, bearing } = plot._fullLayout.map;
    return { lon: center.lon, lat: center.lat, zoom, bearing };
  }

  function viewOfObject(object) {
    const centre = object.getCenter();
    const [zoom, bearing] = [object.getZoom(), object.getBearing()];
    return { lon: centre.lng, lat: centre.lat, zoom, bearing };
  }

  function viewOfEvent(plot, event) {
    const now = viewOfLayout(plot);
    const centre = event["map.center"] || now;
    const zoom = event["map.zoom"] === undefined ? now.zoom : event["map.zoom"];
    const bearing = event["map.bearing"] === undefined ? now.bearing : event["map.bearing"];
    return { lon: centre.lon, lat: centre.lat, zoom, bearing };
  }

  pourmap.paintMapView = function () {
    const { state } = pourmap;
    const box = wrapper();
    if (!box || !map.view || !pourmap.ready() || !state.statuses) return;
    const canvas = box.querySelector("canvas.map-paint");
    const ratio = Math.min(window.devicePixelRatio || 1, 2);
    const [width, height] = [box.clientWidth, box.clientHeight];
    if (canvas.width !== Math.round(width * ratio) || canvas.height !== Math.round(height * ratio)) {
      canvas.width = Math.round(width * ratio);
      canvas.height = Math.round(height * ratio);
    }
    const { spans } = state;
    const screen = pourmap.mapScreen(map.view, width, height, spans.origin);
    if (!map.axes || map.axes.length !== 4 * spans.n) map.axes = new Float64Array(4 * spans.n);
    pourmap.screenAxes(screen, spans, pourmap.BAND, map.axes);
    map.scene = {
      palette: state.palette,
      spans,
      screen,
      axes: map.axes,
      statuses: pourmap.statusesOf(state.activity),
      lagging: pourmap.laggingOf(state.activity),
      chosen: pourmap.chosenSpans(),
      ratio,
    };
    pourmap.paintMap(canvas.getContext("2d"), map.scene);
    pourmap.showScaleAndNorth(screen, state.stationUnit);
  };

  function listenToView(plot) {
    const object = pourmap.mapObject(plot);
    const follow = (view) => {
      map.view = view;
      pourmap.paintMapView();
    };
    if (object) {
      object.on("move", () => follow(viewOfObject(object)));
      object.on("resize", () => follow(viewOfObject(object)));
      object.getCanvas().tabIndex = -1; /* keys are answered by the box around it: one stop is enough */
      if (object.dragRotate) object.dragRotate.disable();
      if (object.touchZoomRotate) object.touchZoomRotate.disableRotation();
      if (object.touchPitch) object.touchPitch.disable();
    }
    plot.on("plotly_relayouting", (event) => object || follow(viewOfEvent(plot, event)));
    plot.on("plotly_relayout", (event) => object || follow(viewOfEvent(plot, event)));
    follow(object ? viewOfObject(object) : viewOfLayout(plot));
  }

  function spanUnder(event) {
    if (!map.scene) return -1;
    const edge = wrapper().getBoundingClientRect();
    const reach = event.pointerType === "touch" ? TOUCH_REACH : MOUSE_REACH;
    const { screen, spans, axes } = map.scene;
    const [x, y] = [event.clientX - edge.left, event.clientY - edge.top];
    return pourmap.spanAt(screen, spans, axes, x, y, reach);
  }

  /* Text card beside the pointer; `i` of -1 hides it. `row` is another activity than the chosen. */
  pourmap.hover = function (box, i, x, y, row) {
    const card = box.querySelector(".hover-card");
    if (!card) return;
    card.hidden = i < 0;
    if (i < 0) return;
    const words = pourmap.saySpan(i, row);
    card.textContent = "";
    for (const text of [words.place, words.stations, words.status, words.late ? "Lagging" : ""]) {
      if (text) card.appendChild(document.createElement("div")).textContent = text;
    }
    const left = Math.max(4, Math.min(x + 14, box.clientWidth - card.offsetWidth - 6));
    card.style.left = left + "px";
    card.style.top = Math.max(4, y + 14 + card.offsetHeight > box.clientHeight
      ? y - card.offsetHeight - 12 : y + 14) + "px";
  };

  function listenToPointer(box) {
    let down = null;
    box.addEventListener("pointerdown", (event) => {
      down = event.target.closest("button, a") ? null : [event.clientX, event.clientY];
    }, true);
    box.addEventListener("pointerup", (event) => {
      if (!down) return;
      const moved = Math.hypot(event.clientX - down[0], event.clientY - down[1]);
      down = null;
      if (moved < 6) pourmap.choose(spanUnder(event), true);
    }, true);
    box.addEventListener("pointermove", (event) => {
      if (event.pointerType === "touch" || event.buttons || !map.scene) return;
      const edge = box.getBoundingClientRect();
      const i = spanUnder(event);
      box.classList.toggle("over-span", i >= 0);
      pourmap.hover(box, i, event.clientX - edge.left, event.clientY - edge.top);
    });
    box.addEventListener("pointerleave", () => pourmap.hover(box, -1));
  }

  /* Left and right walk along the structure, up and down to the one beside it (the strip takes
     those for the activities); Enter opens, plus, minus and 0 zoom. */
  pourmap.walkKeys = function (event, zoom) {
    const steps = { ArrowRight: 1, ArrowLeft: -1, PageDown: 10, PageUp: -10, Home: -1e9, End: 1e9 };
    const crossings = { ArrowUp: -1, ArrowDown: 1 };
    if (event.altKey || event.ctrlKey || event.metaKey) return;
    if (event.key in steps) pourmap.step(steps[event.key]);
    else if (event.key in crossings) pourmap.cross(crossings[event.key]);
    else if (event.key === "Enter" && pourmap.state.span >= 0) pourmap.choose(pourmap.state.span, true);
    else if (event.key === "+" || event.key === "=") zoom(1);
    else if (event.key === "-") zoom(-1);
    else if (event.key === "0") zoom(0);
    else return;
    event.preventDefault();
    event.stopPropagation();
  };

  /* The figure's layout keeps the view too, or the plot would put back its own on a resize; so does
     the layout it works with, whose view it puts back whenever it has drawn. */
  function remember(view) {
    for (const { map: layout } of [map.plot.layout, map.plot._fullLayout]) {
      layout.center = { lon: view.lon, lat: view.lat };
      layout.zoom = view.zoom;
    }
  }

  /* Show a view; quick through the map object, else through the figure's layout. */
  pourmap.goTo = function (view, atOnce) {
    if (!map.plot || !map.plot.isConnected || !map.plot._fullLayout) return;
    const object = pourmap.mapObject(map.plot);
    const still = window.matchMedia("(prefers-reduced-motion: reduce)").matches;
    if (object) {
      remember(view);
      const target = { center: [view.lon, view.lat], zoom: view.zoom };
      if (still || atOnce) object.jumpTo(target);
      else object.easeTo({ ...target, duration: 250 });
    } else {
      const centre = { lon: view.lon, lat: view.lat };
      window.Plotly.relayout(map.plot, { "map.center": centre, "map.zoom": view.zoom });
    }
  };

  /* View that shows all the given spans (all of them without a list). */
  pourmap.viewOf = function (list, width, height) {
    const { spans } = pourmap.state;
    let west = Infinity, east = -Infinity, north = Infinity, south = -Infinity;
    for (const i of list || spans.middleX.keys()) {
      west = Math.min(west, spans.box[4 * i]);
      north = Math.min(north, spans.box[4 * i + 1]);
      east = Math.max(east, spans.box[4 * i + 2]);
      south = Math.max(south, spans.box[4 * i + 3]);
    }
    const share = Math.max((east - west) / (width - 60), (south - north) / (height - 90));
    const zoom = Math.min(18, Math.log2(1 / (512 * Math.max(share, 1e-12))));
    const [ox, oy] = spans.origin;
    const [lon, lat] = pourmap.degrees((west + east) / 2 + ox, (north + south) / 2 + oy);
    return { lon, lat, zoom };
  };

  function fittedView(box, heading, list) {
    const { spans } = pourmap.state;
    const some = heading
      ? [...spans.heading.keys()].filter((i) => spans.heading[i] === heading)
      : list;
    const { clientWidth: width, clientHeight: height } = box;
    return pourmap.viewOf(some && some.length ? some : null, width, height);
  }

  /* Fit all spans, those of one heading, or those given. */
  pourmap.fitMap = function (heading, list, atOnce) {
    const box = wrapper();
    if (pourmap.state.spans && box) pourmap.goTo(fittedView(box, heading, list), atOnce);
  };

  /* Show statuses where the map will come to rest, while the plotting library is still read:
     reading it takes longer than all the rest of the page. */
  pourmap.paintAhead = function () {
    const box = wrapper();
    if (!box || box.dataset.attached) return;
    map.view = { ...fittedView(box, pourmap.state.heading), bearing: 0 };
    pourmap.paintMapView();
  };

  /* Where the buttons zoom about: the selected span, or the one nearest the middle, where it is in
     sight. About the middle itself a curved viaduct would soon be out of it. */
  function anchorOf({ spans, screen }) {
    const middles = [...spans.middleX.keys()].map((i) =>
      [i, ...pourmap.toScreen(screen, spans.middleX[i], spans.middleY[i])]);
    const seen = middles.filter(([, x, y]) => x > 0 && y > 0 && x < screen.width && y < screen.height);
    const off = ([i, x, y]) =>
      i === pourmap.state.span ? -1 : Math.hypot(x - screen.width / 2, y - screen.height / 2);
    return seen.reduce((best, each) => (best && off(best) <= off(each) ? best : each), null);
  }

  function zoomedAbout({ spans, screen }, [i], by) {
    const [x, y] = pourmap.fromScreen(screen, screen.width / 2, screen.height / 2);
    const left = 2 ** -by; /* of the way from the anchor to the middle */
    const [lon, lat] = pourmap.degrees(
      spans.middleX[i] + (x - spans.middleX[i]) * left + spans.origin[0],
      spans.middleY[i] + (y - spans.middleY[i]) * left + spans.origin[1]);
    return { lon, lat };
  }

  pourmap.zoomMap = function (by) {
    if (by === 0) return pourmap.fitMap();
    if (!map.view) return;
    const anchor = map.scene && anchorOf(map.scene);
    const centre = anchor ? zoomedAbout(map.scene, anchor, by) : {};
    pourmap.goTo({ ...map.view, ...centre, zoom: map.view.zoom + by });
  };

  function listenToButtons(box) {
    const press = { "map-zoom-in": 1, "map-zoom-out": -1, "map-fit": 0 };
    for (const [id, by] of Object.entries(press)) {
      const button = document.getElementById(id);
      if (button) button.addEventListener("click", () => pourmap.zoomMap(by));
    }
    box.addEventListener("keydown", (event) => pourmap.walkKeys(event, pourmap.zoomMap), true);
  }

  /* Until a person takes over, the map shows the whole viaduct (or heading), whatever its size.
     While it loads, the plotting library puts its first view back more than once, so the fitted
     view is asked for again until the map rests in it. */
  function settle(box, plot) {
    const object = pourmap.mapObject(plot);
    let taken = false;
    for (const kind of ["pointerdown", "wheel", "keydown"]) {
      box.addEventListener(kind, () => (taken = true), { capture: true, once: true, passive: true });
    }
    const fit = () => taken || pourmap.fitMap(pourmap.state.heading, null, true);
    if (!object) {
      box.dataset.ready = "yes"; /* and the figure's own view stays: no one tells when it rests */
      return;
    }
    object.on("idle", () => {
      if (!taken && Math.abs(object.getZoom() - plot.layout.map.zoom) > 1e-6) fit();
      else box.dataset.ready = "yes";
    });
    new ResizeObserver(fit).observe(box);
  }

  function attach(box, plot) {
    map.plot = plot;
    box.dataset.attached = "yes";
    listenToPointer(box);
    listenToButtons(box);
    listenToView(plot);
    new ResizeObserver(() => pourmap.paintMapView()).observe(box);
    settle(box, plot);
  }

  /* Resolve once the plot has drawn its map and our canvas lies on it. */
  pourmap.attachMap = function () {
    return new Promise((resolve) => {
      const look = () => {
        const box = wrapper();
        if (!box) return resolve(false);
        if (box.dataset.attached) return resolve(true);
        const plot = plotIn(box);
        if (!plot || !plot._fullLayout || !plot._fullLayout.map) return requestAnimationFrame(look);
        attach(box, plot);
        resolve(true);
      };
      look();
    });
  };
})();
