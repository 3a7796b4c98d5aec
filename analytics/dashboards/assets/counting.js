// A page that is being counted asks for itself until it is there; nothing stands on it that a visitor could lose.

setTimeout(() => location.reload(), 2000);
