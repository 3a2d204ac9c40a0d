"""How the finder's network was fitted: scenes, drawn pictures, training, export.

Never needed to run the product: only the extra `fit` brings PyTorch, ONNX and Mitsuba.
DIARY.md beside this file holds the exact commands, seeds and figures; weights/MODEL.md the model card.
"""
