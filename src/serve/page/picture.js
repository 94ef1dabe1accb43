// The picture: packets of the desk onto a canvas that takes their codes for what they are.

/// What this screen's canvas can show, by the display's name at the desk.
export function display() {
  if (!matchMedia("(color-gamut: p3)").matches) return "srgb";
  const trial = document.createElement("canvas").getContext("2d", { colorSpace: "display-p3" });
  return trial?.getContextAttributes?.().colorSpace === "display-p3" ? "display-p3" : "srgb";
}

/// Four bytes of length, a line of JSON, the picture.
export function open(packet) {
  const length = new DataView(packet).getUint32(0, true);
  const about = JSON.parse(new TextDecoder().decode(new Uint8Array(packet, 4, length)));
  return [about, new Blob([new Uint8Array(packet, 4 + length)], { type: about.exact ? "image/png" : "image/jpeg" })];
}

/// A canvas that shows packets. Codes are never converted: the canvas is made in the space that they are for.
export class Screen {
  constructor(canvas) {
    this.canvas = canvas;
    this.space = null;
    this.turn = 0;
    this.shown = 0;
  }

  /// Another canvas element where the space is another: a context keeps its own for good.
  #context(display) {
    const space = display === "display-p3" ? "display-p3" : "srgb";
    if (this.space !== space) {
      if (this.space) {
        const fresh = this.canvas.cloneNode();
        this.canvas.replaceWith(fresh);
        this.canvas = fresh;
      }
      this.space = space;
      this.context = this.canvas.getContext("2d", { alpha: false, colorSpace: space });
    }
    return this.context;
  }

  async show(about, blob) {
    const turn = ++this.turn;
    const bitmap = await createImageBitmap(blob, { colorSpaceConversion: "none", premultiplyAlpha: "none" });
    // A newer one may have been decoded meanwhile.
    if (turn < this.shown) { bitmap.close(); return false; }
    this.shown = turn;
    const context = this.#context(about.display), canvas = this.canvas;
    if (canvas.width !== about.width || canvas.height !== about.height) {
      canvas.width = about.width;
      canvas.height = about.height;
    }
    if (this.space === "display-p3") context.putImageData(this.#relabelled(bitmap, about), 0, 0);
    else context.drawImage(bitmap, 0, 0);
    bitmap.close();
    Object.assign(canvas.dataset, {
      serial: about.serial, exact: about.exact, display: about.display, compare: about.compare, name: about.name,
      look: about.look, frame: about.frame, sum: about.sum,
    });
    return true;
  }

  /// The bitmap's codes as Display P3's: drawn, they would be converted.
  #relabelled(bitmap, { width, height }) {
    if (!this.scratch || this.scratch.canvas.width !== width || this.scratch.canvas.height !== height) {
      const canvas = Object.assign(document.createElement("canvas"), { width, height });
      this.scratch = canvas.getContext("2d", { alpha: false, willReadFrequently: true });
    }
    this.scratch.drawImage(bitmap, 0, 0);
    const codes = this.scratch.getImageData(0, 0, width, height);
    return new ImageData(codes.data, width, height, { colorSpace: "display-p3" });
  }

  clear() {
    this.shown = this.turn;
    if (!this.context) return;
    this.context.fillStyle = "#191919";
    this.context.fillRect(0, 0, this.canvas.width, this.canvas.height);
    delete this.canvas.dataset.serial;
  }
}
