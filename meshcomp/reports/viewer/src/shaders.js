// Surfaces: flat shading, coloured by signed displacement, the lit feature striped.
// A distance has no faces of its own: `wall` marks those of the two walls it lies between.

export const VERTEX = `
attribute float displacement;
attribute float feature;
attribute float wall;
varying float vDisplacement;
varying float vFeature;
varying float vWall;
varying vec3 vPlace;
void main() {
  vec4 place = modelViewMatrix * vec4(position, 1.0);
  vPlace = place.xyz;
  vDisplacement = displacement;
  vFeature = feature;
  vWall = wall;
  gl_Position = projectionMatrix * place;
}`;

export const SURFACE = `
uniform vec3 stops[7];
uniform float range;
uniform float lit;
uniform float stripe;
varying float vDisplacement;
varying float vFeature;
varying float vWall;
varying vec3 vPlace;
void main() {
  vec3 normal = normalize(cross(dFdx(vPlace), dFdy(vPlace)));
  float shade = 0.76 + 0.24 * max(dot(normal, normalize(vec3(0.35, 0.55, 0.76))), 0.0);
  float t = (clamp(vDisplacement / range, -1.0, 1.0) + 1.0) * 3.0;
  int i = min(int(t), 5);
  vec3 colour = mix(stops[i], stops[i + 1], t - float(i)) * shade;
  if (vWall > 0.5 || (lit > 0.5 && abs(vFeature - lit) < 0.5)) {
    float band = fract((gl_FragCoord.x + gl_FragCoord.y) / stripe);
    colour = band < 0.4 ? colour * 0.45 : mix(colour, vec3(1.0), 0.25);
  }
  gl_FragColor = vec4(colour, 1.0);
}`;

// The number of the feature in two bytes of colour, to be read back.
export const NUMBER = `
varying float vFeature;
void main() {
  float number = floor(vFeature + 0.5);
  float high = floor(number / 256.0);
  gl_FragColor = vec4((number - high * 256.0) / 255.0, high / 255.0, 0.0, 1.0);
}`;
