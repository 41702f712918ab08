"""Write trained weights as the file that ships: an ONNX graph whose weights are half floats.

python -m training.export network.pt stylemeter/reading/audio/network.onnx
"""

from __future__ import annotations

import hashlib
import sys
from pathlib import Path

import numpy as np
import onnx
import torch
from onnx import TensorProto, helper, numpy_helper

from stylemeter.reading.audio.spectra import BINS
from training.network import Net


def main(weights: str, out: str) -> None:
    """Write the file and print its size and SHA-256."""
    state = torch.load(weights, map_location="cpu", weights_only=True)
    net = Net(len(state["stem.bias"]), norm=False).eval()
    net.load_state_dict(state)
    path = Path(out)
    torch.onnx.export(
        net, (torch.zeros(1, 3, 300, BINS),), str(path), input_names=["spectra"], output_names=["maps", "tracks"],
        dynamic_axes={"spectra": {2: "frames"}, "maps": {2: "frames"}, "tracks": {2: "frames"}},
        opset_version=17, dynamo=False, do_constant_folding=True,
    )  # fmt: skip
    model = onnx.load(str(path))
    graph = model.graph
    casts = []
    for tensor in list(graph.initializer):
        if tensor.data_type != TensorProto.FLOAT:
            continue
        half = numpy_helper.from_array(numpy_helper.to_array(tensor).astype(np.float16), tensor.name)
        graph.initializer.remove(tensor)
        graph.initializer.append(half)
        casts.append(helper.make_node("Cast", [tensor.name], [tensor.name + ".single"], to=TensorProto.FLOAT))
    made = {node.input[0]: node.output[0] for node in casts}
    for node in graph.node:
        for i, name in enumerate(node.input):
            if name in made:
                node.input[i] = made[name]
    nodes = [*casts, *graph.node]
    del graph.node[:]
    graph.node.extend(nodes)
    model.doc_string, model.producer_name = "", "stylemeter"
    model.producer_version = ""
    for node in graph.node:
        node.doc_string = ""
    onnx.checker.check_model(model)
    path.write_bytes(model.SerializeToString(deterministic=True))
    data = path.read_bytes()
    print(len(data), "bytes", hashlib.sha256(data).hexdigest())


if __name__ == "__main__":
    main(*sys.argv[1:3])
