/* Hatches and marks on a canvas, from the table of dashboard/parts/palette.py. */
(function () {
  "use strict";
  const pourmap = (window.pourmap = window.pourmap || {});
  const TILE = 10;

  const STROKES = {
    rising: (pen) => {
      for (const shift of [-TILE, 0, TILE]) {
        pen.moveTo(shift - 1, TILE + 1);
        pen.lineTo(shift + TILE + 1, -1);
      }
    },
    crossed: (pen) => {
      STROKES.rising(pen);
      for (const shift of [-TILE, 0, TILE]) {
        pen.moveTo(shift - 1, -1);
        pen.lineTo(shift + TILE + 1, TILE + 1);
      }
    },
    dots: (pen) => {
      pen.moveTo(3.9, 2.5);
      pen.arc(2.5, 2.5, 1.0, 0, 7);
      pen.moveTo(8.9, 7.5);
      pen.arc(7.5, 7.5, 1.0, 0, 7);
    },
  };

  function hatchTile(look, ratio) {
    if (!STROKES[look.hatch]) return null;
    const tile = document.createElement("canvas");
    tile.width = tile.height = Math.round(TILE * ratio);
    const pen = tile.getContext("2d");
    pen.scale(tile.width / TILE, tile.width / TILE);
    pen.strokeStyle = pen.fillStyle = look.ink;
    pen.globalAlpha = 0.8;
    pen.lineWidth = 1.6;
    pen.beginPath();
    STROKES[look.hatch](pen);
    if (look.hatch === "dots") pen.fill();
    else pen.stroke();
    return tile;
  }

  /* Read the palette store once; the looks get their canvas paths and hatch patterns. */
  pourmap.readPalette = function (store) {
    const patterns = new Map();
    const looks = store.statuses.map((look) => ({ ...look, path: new Path2D(look.mark) }));
    return {
      looks,
      ground: store.ground,
      /* Hatch of a status as a fill style, in device pixels, moved with (dx, dy). */
      hatch(pen, status, ratio, dx, dy) {
        const key = status + "/" + ratio;
        if (!patterns.has(key)) {
          const tile = hatchTile(looks[status], ratio);
          patterns.set(key, tile && pen.createPattern(tile, "repeat"));
        }
        const pattern = patterns.get(key);
        const matrix = new DOMMatrix([1 / ratio, 0, 0, 1 / ratio, dx % TILE, dy % TILE]);
        if (pattern) pattern.setTransform(matrix);
        return pattern;
      },
      /* Mark of a status, `size` across, its middle at (x, y). */
      mark(pen, status, x, y, size) {
        const scale = size / 16;
        pen.translate(x - size / 2, y - size / 2);
        pen.scale(scale, scale);
        pen.fillStyle = looks[status].ink;
        pen.fill(looks[status].path, "evenodd");
        pen.scale(1 / scale, 1 / scale);
        pen.translate(size / 2 - x, size / 2 - y);
      },
    };
  };
})();
