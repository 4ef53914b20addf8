"""References from outside the product, for its tests to be judged against.

truths      true features and walls of a part, and changes of its dimensions
solids      exact solids of the B-rep kernel: volume, bounds, triangles, distances
cylinders   the cylinders of an exact solid, read off its faces
random_parts  mechanical parts drawn at random
brep        eight exact parts, built at any compensated dimensions
crossings   faces that cross, edges that no closed solid has (pymeshlab)
plane       plane offsets with mitred corners, and prisms (shapely, manifold3d)
profiles    closed forms: lobed disc, involute flanks, facets of a circle
minkowski   horizontal growth of a convex part as a Minkowski sum (manifold3d)
measure     sizes measured in a written mesh file (numpy, shapely, scipy)

Of the product they use `meshcomp.meshes.Mesh`, a holder of two arrays, and no more.
"""
