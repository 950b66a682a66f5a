# Reads a card from a picture with OpenCV's own ChArUco detector, as Debian
# packages it for Python (python3-opencv 4.6): card number on the command line,
# the corners found on standard output, in pixels with (0, 0) the centre of the
# first pixel.
import json
import sys

import cv2

gray = cv2.imread(sys.argv[1], cv2.IMREAD_GRAYSCALE)
number = int(sys.argv[2])
dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_1000)
board = cv2.aruco.CharucoBoard_create(10, 7, 25.4, 19.05, dictionary)
board.ids = board.ids + 35 * number
corners, ids, _ = cv2.aruco.detectMarkers(gray, dictionary)
n, points, names = cv2.aruco.interpolateCornersCharuco(corners, ids, gray, board)
points = cv2.cornerSubPix(gray, points - 0.5, (9, 9), (-1, -1), (3, 40, 0.001))
print(json.dumps({"markers": sorted(int(i) for i in ids.ravel()), "corners": {int(i): [float(v) for v in p[0]] for i, p in zip(names.ravel(), points)}}))
