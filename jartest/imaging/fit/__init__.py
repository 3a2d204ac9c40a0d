"""How the finder's network was fitted: scenes, drawn pictures, training, export.

Never needed to run the product: only the extra `fit` brings PyTorch, ONNX and Mitsuba.
DEVELOPERS.md holds the model card with the exact commands, seeds and figures.
"""
