"""Recordings of one guitar: WAV, FLAC, OGG and MP3 bytes in, the played line out.

The way of a recording: `sound` (one channel at one rate) -> `tuning` -> `spectra` -> `network` -> `decoder` (notes) ->
`curve` (bends, slides, vibrato) and `confidence` -> `count_in` or `performed.tempo` (beats) -> `performed.draft` (the
grid, as for every played source) -> `Melody`. `read` ties them together; `listen` is the part without any beats.
`network.onnx` holds the weights and `MODEL.md` says how they were made; the code that makes them is no part of the
package (`training/`).

May import `music`, `reading.draft`, `reading.performed` and `reading.intake`. A better network goes here with its
card; a change of the grid does not.
"""
