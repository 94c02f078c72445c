"""The shop's equipment as solids with named faces, and its tables of materials, finishes and wheels."""
