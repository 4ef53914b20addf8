// What Python put into the page: JSON, with arrays as base64 of little-endian numbers.

const KINDS = { i2: Int16Array, u2: Uint16Array, u4: Uint32Array };

export function array({ kind, data }) {
  const text = atob(data);
  const bytes = new Uint8Array(text.length);
  for (let i = 0; i < text.length; i += 1) bytes[i] = text.charCodeAt(i);
  return new KINDS[kind](bytes.buffer);
}

export function read(id) {
  const element = document.getElementById(id);
  return element === null ? null : JSON.parse(element.textContent);
}

/** Ends of all edges, three coordinates each. */
export function edges(surface) {
  const places = array(surface.vertices);
  const ends = array(surface.edges);
  const position = new Float32Array(ends.length * 3);
  ends.forEach((vertex, end) => {
    for (let axis = 0; axis < 3; axis += 1) {
      position[end * 3 + axis] = surface.origin[axis] + places[vertex * 3 + axis] * surface.step;
    }
  });
  return position;
}

/** Corners of every triangle, with displacement and feature, in three arrays. */
export function corners(surface) {
  const places = array(surface.vertices);
  const faces = array(surface.faces);
  const shifts = array(surface.displacements);
  const owners = array(surface.owners);
  const position = new Float32Array(faces.length * 3);
  const displacement = new Float32Array(faces.length);
  const feature = new Float32Array(faces.length);
  for (let corner = 0; corner < faces.length; corner += 1) {
    const from = faces[corner] * 3;
    for (let axis = 0; axis < 3; axis += 1) {
      position[corner * 3 + axis] = surface.origin[axis] + places[from + axis] * surface.step;
    }
    displacement[corner] = shifts[corner] * surface.displacement_step;
    feature[corner] = owners[(corner / 3) | 0];
  }
  return { position, displacement, feature };
}
