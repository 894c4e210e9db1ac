// The class in the room, as the stage shows it.

export function begin() {}
