/* Clocks for bench_map.py, run in the page. */
(() => {
  const mapOf = () =>
    document.querySelector(".js-plotly-plot")._fullLayout.map._subplot.map;
  const settled = (map) => new Promise((done) => {
    map.once("idle", done);
    map.triggerRepaint();
  });
  const differs = (a, b, by) => {
    for (let i = 0; i < a.length; i += 4) {
      if (Math.abs(a[i] - b[i]) + Math.abs(a[i + 1] - b[i + 1]) > by) return true;
    }
    return false;
  };

  /* Look at a place; the figure's own layout must agree or the next drawing puts it back. */
  async function goTo([lon, lat, zoom]) {
    const plot = document.querySelector(".js-plotly-plot");
    for (const layout of [plot.layout, plot._fullLayout]) {
      layout.map.center = { lon, lat };
      layout.map.zoom = zoom;
    }
    const map = mapOf();
    map.jumpTo({ center: [lon, lat], zoom });
    await settled(map);
  }

  /* Ours: from the input event's own time stamp until both canvases hold their new pixels
     (`pixel`, forced out by reading one back) and until the frame after that (`frame`). */
  function startOurClock() {
    const canvases = [".map-paint", ".strip-paint"].map((name) => document.querySelector(name));
    const grab = (c) => c.getContext("2d").getImageData(0, 0, c.width, c.height).data;
    const before = canvases.map(grab);
    const paint = pourmap.paintStripView;
    let start = null;
    window.measured = null;
    const begin = (event) => (start = start ?? event.timeStamp);
    for (const kind of ["click", "input"]) {
      addEventListener(kind, begin, { capture: true, once: true });
    }
    pourmap.paintStripView = function () {
      paint();
      if (start === null) return;
      pourmap.paintStripView = paint;
      for (const c of canvases) c.getContext("2d").getImageData(0, 0, 1, 1);
      const pixel = performance.now() - start;
      requestAnimationFrame(() => requestAnimationFrame((now) => {
        const changed = canvases.every((c, k) => differs(before[k], grab(c), 6));
        window.measured = { pixel, frame: now - start, changed };
      }));
    };
  }

  /* A rival: from just before the change is asked for until the map has rendered a changed
     pixel, read back inside its render event. */
  async function rivalClock([way, z]) {
    const plot = document.querySelector(".js-plotly-plot");
    const map = mapOf();
    const gl = map.painter.context.gl;
    const grab = () => {
      const p = new Uint8Array(gl.drawingBufferWidth * gl.drawingBufferHeight * 4);
      gl.readPixels(0, 0, gl.drawingBufferWidth, gl.drawingBufferHeight, gl.RGBA,
        gl.UNSIGNED_BYTE, p);
      return p;
    };
    await settled(map);
    const before = await new Promise((done) => {
      map.once("render", () => done(grab()));
      map.triggerRepaint();
    });
    const changed = new Promise((done, fail) => {
      const look = () => {
        const now = performance.now();
        if (differs(grab(), before, 6)) done(now);
        else map.once("render", look);
      };
      map.once("render", look);
      setTimeout(() => fail(new Error("no changed pixel within 15 s: " + way)), 15000);
    });
    const start = performance.now();
    if (way === "restyle") Plotly.restyle(plot, { z: [z] }, [0]);
    else if (way === "feature state") {
      z.forEach((s, id) => map.setFeatureState({ source: "own", id }, { s }));
    } else document.getElementById(way).click();
    return (await changed) - start;
  }

  async function addOwnLayer([url, fills]) {
    const map = mapOf();
    map.addSource("own", { type: "geojson", data: url });
    const colour = ["match", ["feature-state", "s"], ...fills.flatMap((f, k) => [k, f]), "#000"];
    map.addLayer({ id: "own", type: "fill", source: "own", paint: { "fill-color": colour } });
    const band = { "line-color": colour, "line-width": 4 };
    map.addLayer({ id: "own-band", type: "line", source: "own", paint: band });
    await settled(map);
  }

  function timeFold() {
    const { changes } = pourmap.state;
    const start = performance.now();
    for (let k = 0; k < 100; k++) pourmap.statusesAt(changes, changes.dates.length - 1);
    return (performance.now() - start) / 100;
  }

  function middleOfAQuarter() {
    const { spans } = pourmap.state;
    const i = spans.n >> 2;
    return pourmap.degrees(spans.middleX[i] + spans.origin[0], spans.middleY[i] + spans.origin[1]);
  }

  window.clocks = { goTo, startOurClock, rivalClock, addOwnLayer, timeFold, middleOfAQuarter };
})();
